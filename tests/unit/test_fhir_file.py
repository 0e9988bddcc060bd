"""FHIR files: what is read of a resource, what is refused, and which sentence says so."""

from __future__ import annotations

import sys
from pathlib import Path

import orjson
import pytest

from analysis.exports.fhir import form_profile
from analysis.ingest import IngestError, ingest
from analysis.ingest.fhir_file import fhir_parts
from analysis.ingest.fhir_path import cell, is_valid
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.ingest.raw import LogFile
from analysis.ingest.sentences import fix, why
from analysis.store import Store
from analysis.tables.incoming import HOME_LOG
from tests.commands import run
from tests.ingest_files import POLICY, RECEIVED_AT, programme, refusals, store

__all__ = ["programme", "run", "store"]

PROFILE = """\
name = "portal"
[table.home_log]
resource = ["QuestionnaireResponse"]
where = "questionnaire = 'urn:diary'"
[table.home_log.heads]
"id" = "entry_id"
"subject.reference.replace('Patient/', '')" = "family_id"
"authored" = "done_at"
"item.where(linkId = 'what').answer.value.code" = "kind"
"item.where(linkId = 'seen').answer.value.code" = "findings"
"item.where(linkId = 'kits').answer.value" = "kits_left"
[table.home_log.values.kind]
"skin-check" = "skin_check"
"""
SOURCE = parse_profile(PROFILE, "portal.toml", "portal")


def response(number: str, **changes):
    """A home entry as a form of a portal sends it."""
    items = {
        "what": [{"valueCoding": {"code": "skin-check", "display": "Ms Nightingale looked"}}],
        "seen": [{"valueCoding": {"code": "redness"}}, {"valueCoding": {"code": "fever"}}],
        "kits": [{"valueInteger": 3}],
    } | changes.pop("items", {})
    return {
        "resourceType": "QuestionnaireResponse",
        "id": number,
        "status": "completed",
        "questionnaire": "urn:diary",
        "subject": {"reference": "Patient/F1", "display": "Florence Nightingale"},
        "authored": "2031-03-04T09:30:00Z",
        "item": [{"linkId": name, "answer": answer} for name, answer in items.items()],
        **changes,
    }


def lines_of(folder: Path, *resources: object, name: str = "export.ndjson") -> Path:
    path = folder / name
    path.write_bytes(b"".join(orjson.dumps(resource) + b"\n" for resource in resources))
    return path


def read(store: Store, path: Path, *sources):
    return ingest(store, path, POLICY, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT,
                  sources=sources or [SOURCE])  # fmt: skip


def test_home_entries_of_a_form_are_read_and_the_source_is_recognised(programme, tmp_path) -> None:
    others = {"resourceType": "Patient", "id": "F1", "name": [{"family": "Nightingale"}]}
    path = lines_of(tmp_path, others, response("a"), response("b", questionnaire="urn:other"))
    found = read(programme, path)
    assert (found.faults, found.refused) == ((), 0)
    assert [(t.table, t.read, t.stored) for t in found.tables] == [("home_log", 1, 1)]
    entry = programme.records().home_log.iloc[0]
    assert (entry["line_id"], entry["kind"], entry["findings"], entry["kits_left"]) == (
        "L1", "skin_check", "fever;redness", 3,
    )  # fmt: skip
    assert programme.ingests()["source"].iloc[-1] == "portal"
    again = read(programme, lines_of(tmp_path, response("a", items={"seen": []}), name="b.ndjson"))
    assert again.tables[0].stored == 1  # the same id: a correction
    assert programme.records().home_log["findings"].isna().all()


def test_a_bad_resource_is_refused_like_a_row_and_the_others_are_stored(
    programme, tmp_path
) -> None:
    twice = [{"valueInteger": 3}, {"valueInteger": 4}]
    path = lines_of(
        tmp_path,
        response("good"),
        response("when", authored="2031-02-30"),
        response("twice", items={"kits": twice}),
        response("parts", items={"kits": [{"valueQuantity": {"value": 3}}]}),
        response("who", subject={"reference": "Patient/F9"}),
        response("what", items={"what": [{"valueCoding": {"code": "bath"}}]}),
        {"resourceType": "QuestionnaireResponse", "questionnaire": "urn:diary", "item": [None, 7]},
    )
    found = read(programme, path)
    assert (found.faults, [(t.read, t.stored, t.refused) for t in found.tables]) == (
        (), [(7, 1, 6)],
    )  # fmt: skip
    assert refusals(programme) == [
        (2, "done_at", "no_such_day"),
        (3, "kits_left", "fhir_value"),
        (4, "kits_left", "fhir_value"),
        (5, "family_id", "unknown_family"),
        (6, "kind", "unknown_code"),
        (7, "done_at", "missing_value"),
    ]
    rows = programme.refused()
    assert "QuestionnaireResponse/when" in str(rows.iloc[0].to_dict())
    assert "Nightingale" not in rows.astype(str).to_csv()


@pytest.mark.parametrize(
    ("before", "after", "shown"),
    [
        ('"authored" =', '"authored.where(" =', "not a FHIRPath expression"),
        ('"authored" =', '"authored authored" =', "not a FHIRPath expression"),
        ('"authored" =', '"subject.display" =', "would put a name"),
        ('"authored" =', '"subject.resolve().telecom.value" =', "would put a name"),
        ('["QuestionnaireResponse"]', '["Observation"]', "but QuestionnaireResponse."),
        ('"authored" = "done_at"', "", "it has no done_at"),
    ],
)
def test_a_profile_that_cannot_be_used_is_one_sentence(tmp_path, before, after, shown) -> None:
    assert before in PROFILE
    profile = parse_profile(PROFILE.replace(before, after), "p.toml", "p")
    with pytest.raises(IngestError) as fault:
        fhir_parts(LogFile.at(lines_of(tmp_path, response("a"))), profile, None)
    assert shown in str(fault.value)


def test_a_file_without_its_profile_or_with_broken_json_stores_nothing(store, tmp_path) -> None:
    path = lines_of(tmp_path, response("a"))
    without = ingest(store, path, POLICY)
    assert "Name a source profile whose tables have a resource" in str(without.faults[0])
    path.write_bytes(path.read_bytes() + b"{broken\n")
    assert "row 2 is not valid JSON" in str(read(store, path).faults[0])
    whole = tmp_path / "bundle.json"
    whole.write_text('{\n "resourceType": "Bundle",\n "entry": [')
    assert "is not valid JSON" in str(read(store, whole).faults[0])
    whole.write_text('{"resourceType": "Bundle", "entry": [null, 7, {"resource": {}}, {}]}')
    empty = ingest(store, whole, POLICY, SOURCE)
    assert "no resource that the source profile reads" in str(empty.faults[0])
    two = parse_profile(PROFILE.replace("portal", "other"), "o.toml", "o")
    assert "Name a source profile" in str(read(store, lines_of(tmp_path, response("a")), SOURCE, two).faults[0])  # fmt: skip


def test_without_the_extra_a_sentence_names_it(tmp_path, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "fhirpathpy", None)
    monkeypatch.setitem(sys.modules, "antlr4", None)
    with pytest.raises(IngestError, match=r"pip install 'linedays\[fhir\]'"):
        is_valid("export.ndjson", "an.expression.never.read.before")


BULK = parse_profile(
    """\
name = "bulk export"
[table.home_log]
resource = ["QuestionnaireResponse"]
where = "questionnaire = 'urn:diary'"
[table.home_log.heads]
"id" = "entry_id"
"subject.resolve().managingOrganization.resolve().alias" = "caregiver_id"
"subject.resolve().identifier.value" = "family_id"
"authored" = "done_at"
"item.where(linkId = 'what').answer.value.code" = "kind"
[table.home_log.values.kind]
"skin-check" = "skin_check"
""",
    "bulk.toml",
    "bulk",
)
PATIENT = {
    "resourceType": "Patient",
    "id": "p1",
    "identifier": [{"value": "F1"}],
    "managingOrganization": {"reference": "Organization/o1"},
}
CLINIC = {"resourceType": "Organization", "id": "o1", "alias": ["P1"]}


def test_references_lead_to_resources_of_the_other_files_of_an_ingest(programme, tmp_path) -> None:
    (folder := tmp_path / "export").mkdir()
    at_home = {"reference": "Patient/p1"}
    inside = {**PATIENT, "id": "inside"}
    lines_of(
        folder,
        response("a", subject=at_home),
        response("b", subject={"reference": "Patient/p9"}),
        response("c", subject={"reference": "#inside"}, contained=[inside]),
        name="QuestionnaireResponse.ndjson",
    )
    alone = read(programme, folder, BULK)
    assert (alone.stored, alone.refused) == (0, 3)
    rows = programme.refused()
    assert set(rows["reason"]) == {"fhir_reference"}
    assert sorted(rows["value"]) == ["Organization/o1", "Patient/p1", "Patient/p9"]
    lines_of(folder, PATIENT, name="Patient.ndjson")
    lines_of(folder, CLINIC, name="Organization.ndjson")
    (folder / "Broken.ndjson").write_text('{"resourceType": "Patient"}\n{')
    together = read(programme, folder, BULK)
    assert [fault.file for fault in together.faults] == ["Broken.ndjson"]
    assert (together.stored, together.refused) == (2, 1)
    assert "Patient.ndjson: resources that no table of the source profile reads" in str(
        together.notes
    )
    log = programme.records().home_log.set_index("entry_id")
    assert log["family_id"].to_dict() == {"a": "F1", "c": "F1"}
    assert set(log["caregiver_id"]) == {"P1"}
    ((number, column, reason),) = refusals(programme)
    assert (number, reason) == (2, "fhir_reference")
    assert "in no file of this ingest" in why("home_log", column, "Patient/p9", reason)
    assert fix("home_log", column, "Patient/p9", reason).startswith("Ingest the file that holds it")


def test_numbers_and_truths_are_cells() -> None:
    assert cell([3.5, 3.5], several=False) == "3.5"
    assert cell([None, False], several=False) == "false"


def test_a_profile_of_resources_is_imported_and_read_without_naming_it(run, tmp_path) -> None:
    (tmp_path / "portal.toml").write_text(PROFILE)
    (tmp_path / "lines.csv").write_text(
        "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type\n"
        "L1,C1,F1,north,picc,2021-01-10,2021-01-20,transparent\n"
    )
    lines_of(tmp_path, response("a", authored="2021-03-04"))
    assert run("sources", "import", "portal.toml")[0] == 0
    code, out, _ = run("ingest", "lines.csv", "export.ndjson")
    assert (code, out.splitlines()[2]) == (0, "export.ndjson,home_log,1,1,0,0,0")
    code, out, _ = run("ingest", "--dry-run", "export.ndjson", "--source", "portal")
    assert (code, "2021-03-04" in out) == (0, True)


def test_the_home_log_leaves_as_fhir_and_comes_back_the_same(run, tmp_path) -> None:
    (tmp_path / "profile.toml").write_text(as_toml(form_profile()))
    (tmp_path / "lines.csv").write_text(
        "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,received_at\n"
        "L1,C1,F1,north,picc,2021-01-10,2021-01-20,transparent,2021-01-21T08:00Z\n"
    )
    (tmp_path / "home_log.csv").write_text(
        "entry_id,line_id,done_at,kind,change_reason,dressing_type,findings,steps_missed,kits_left,"
        "note,received_at\n"
        "e 1,L1,2021-03-04T09:30:00Z,dressing_change,loose,gauze,rash;fever,none,4,felt hot,2021-03-05T08:00Z\n"
        ",L1,2021-03-09,skin_check,,,none,,,,2021-03-10T08:00Z\n"
        "e2,L1,2021-03-10,flush,,,,,,,2021-03-11T08:00Z\n"
    )
    (tmp_path / "policy.toml").write_text('time_zone = "UTC"\n')
    stores = [f"sqlite:///{tmp_path}/{name}.sqlite" for name in ("first", "second")]
    shown = []
    for store_url in stores:
        assert run("policy", "--set", "policy.toml", "--store", store_url)[0] == 0
        assert run("ingest", "lines.csv", "--store", store_url)[0] == 0
    assert run("ingest", "home_log.csv", "--store", stores[0])[0] == 0
    words = ("export", "fhir", "log.ndjson", "--with", "note", "--store", stores[0])
    assert run(*words)[0] == 0
    assert run(*words)[0] == 3  # never over a file
    code, out, _ = run("ingest", "log.ndjson", "--source", "profile.toml", "--store", stores[1])
    assert (code, out.splitlines()[1]) == (0, "log.ndjson,home_log,3,3,0,0,0")
    for number, store_url in enumerate(stores):
        folder = f"out-{number}"
        words = ("export", "home_log", "--with", "note", "--write", folder, "--store", store_url)
        assert run(*words)[0] == 0
        shown.append((tmp_path / folder / "records/home_log.csv").read_text())
    assert shown[0] == shown[1]
    first, *responses = map(orjson.loads, (tmp_path / "log.ndjson").read_bytes().splitlines())
    assert [item["linkId"] for item in first["item"]] == HOME_LOG.names[1:]
    assert responses[0]["subject"]["identifier"]["value"] == "C1"
    run("export", "fhir", "without.ndjson", "--store", stores[0])
    assert "felt hot" not in (tmp_path / "without.ndjson").read_text()
