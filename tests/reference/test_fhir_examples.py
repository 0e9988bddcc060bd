"""The published FHIR R4 examples, read by a source profile of FHIRPath expressions.

*Source:* HL7, FHIR Release 4 (4.0.1), examples patient-f201, deviceusestatement-example,
procedure-example-implant, procedure-f201, encounter-f201, encounter-f203,
questionnaireresponse-f201 and observation-f202 of the specification (public domain, CC0), as
stored in the public repository LinuxForHealth/FHIR, fhir-examples/src/main/resources/json/spec,
"from FHIR R4 specification, retrieved 2019-07-01"; their generated narratives are left out here.
None is about a central line: the two procedures are read as if they had placed one.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import orjson
import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.ingest import ingest
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.policy import parse_policy
from analysis.store import Store, blocks
from tests.commands import run

__all__ = ["run"]

EXAMPLES = Path(__file__).parent / "data" / "fhir_r4_examples.ndjson"
PATIENT = Path(__file__).parent / "data" / "fhir_r4_patient.ndjson"
"""Number and day of birth of patient-example of the specification, from memory."""
PROFILE = """\
name = "published examples"

[table.lines]
resource = ["DeviceUseStatement", "Procedure"]
[table.lines.heads]
"Procedure.id | DeviceUseStatement.identifier.value" = "line_id"
"subject.reference.replace('Patient/', '')" = "child_id"
"subject.reference" = "family_id"
"(Procedure.performed.ofType(dateTime) | Procedure.performed.ofType(Period).start).toString().substring(0, 10)" = "placed_on"
"(Procedure.performed.ofType(dateTime) | Procedure.performed.start).toString().substring(0,10)" = "home_from"
"subject.resolve().birthDate.toString().substring(0, 7)" = "born"
"iif(code.coding.where(system.endsWith('/sct')).code = '367336001', 'chemotherapy', 'other')" = "therapy"
[table.lines.fixed]
site = "example"
line_type = "other"
dressing_type = "transparent"

[table.stays]
resource = ["Encounter"]
where = "class.code = 'IMP'"
[table.stays.heads]
"subject.reference.replace('Patient/', '')" = "child_id"
"period.start" = "from_on"
"period.end" = "to_on"

[table.home_log]
resource = ["QuestionnaireResponse", "Observation"]
[table.home_log.heads]
"id" = "entry_id"
"subject.reference" = "family_id"
"QuestionnaireResponse.authored | Observation.effective | Observation.issued" = "done_at"
"iif(status = 'entered-in-error', 'yes', 'no')" = "void"
[table.home_log.fixed]
kind = "skin_check"
[[table.home_log.ticks]]
column = "findings"
head = "Observation.where(code.coding.code = '8310-5').value.value > 38"
code = "fever"
"""
POLICY = parse_policy('time_zone = "Europe/Amsterdam"', "policy.toml")
OF_A_PERSON = {
    *("name", "address", "telecom", "contact", "photo", "birthDate", "display", "text"),
    *("valueString", "valueDate", "managingOrganization"),
}
"""Elements of a resource of which nothing is a code."""


def private(resource: object, within: bool = False) -> Iterator[str]:
    """Names, addresses, numbers, days of birth, displayed and answered texts of a resource."""
    if isinstance(resource, dict):
        for name, inside in resource.items():
            coded = name in {"use", "system", "code", "reference"}
            number = name == "value" and resource.get("use") == "official"
            yield from private(inside, (within or name in OF_A_PERSON or number) and not coded)
    elif isinstance(resource, list):
        for inside in resource:
            yield from private(inside, within)
    elif within and isinstance(resource, str) and len(resource) > 2:
        yield resource


PRIVATE = sorted(
    {text for line in EXAMPLES.read_bytes().splitlines() for text in private(orjson.loads(line))}
)


def read(store: Store, path: Path | list[Path], text: str = PROFILE):
    """Ingest the examples as of 2016."""
    profile = parse_profile(text, "profile.toml", "profile")
    return ingest(
        store, path, POLICY, ingested_at=datetime(2016, 1, 1, tzinfo=UTC), sources=[profile]
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("fhir")


@pytest.fixture(scope="module")
def store(folder):
    with Store.open(f"sqlite:///{folder}/s.sqlite") as opened:
        opened.summary = read(opened, [EXAMPLES, PATIENT])
        yield opened


def test_lines_stays_and_entries_are_those_of_the_examples(store) -> None:
    counts = {t.table: (t.read, t.stored, t.refused) for t in store.summary.tables}
    assert store.summary.faults == ()
    assert counts == {"lines": (3, 2, 1), "stays": (1, 1, 0), "home_log": (2, 2, 0)}
    known = store.records()
    lines = known.lines.set_index("line_id")
    assert lines["child_id"].to_dict() == {"example-implant": "example", "f201": "f201"}
    assert lines["placed_on"].dt.date.to_dict() == {
        "example-implant": date(2015, 4, 5), "f201": date(2013, 1, 28),
    }  # fmt: skip
    assert lines["therapy"].astype(str).to_dict()["f201"] == "chemotherapy"
    assert lines["born"]["f201"] == pd.Timestamp("1960-03-01")  # by the reference to the patient
    assert lines["born"]["example-implant"] == pd.Timestamp("1974-12-01")  # of the other file
    stay = known.stays.iloc[0]
    assert (stay["child_id"], stay["from_on"].date(), stay["to_on"].date()) == (
        "f201", date(2013, 3, 11), date(2013, 3, 20),
    )  # fmt: skip
    entries = known.home_log.set_index("entry_id")
    assert list(entries.index) == ["f201"]  # the observation was entered in error
    # 0:00 at +01:00 is 23:00 UTC, and 1:00 of the 18th in summer time.
    assert str(entries["done_at"]["f201"]) == "2013-06-17 23:00:00"
    assert str(entries["done_on"]["f201"].date()) == "2013-06-18"


def test_a_resource_without_what_a_row_needs_is_refused_with_its_path(store) -> None:
    refused = store.refused().iloc[0]
    assert (refused["row_number"], refused["column"], refused["reason"]) == (
        2, "placed_on", "missing_value",
    )  # fmt: skip
    assert refused["sheet"] == "DeviceUseStatement, Procedure"
    assert "DeviceUseStatement/example" in str(refused.to_dict())
    assert "Patient 1; skipped." in " ".join(store.summary.notes)


def test_a_line_whose_patient_is_in_no_file_is_refused(tmp_path) -> None:
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as opened:
        lines = read(opened, EXAMPLES).tables[0]
        assert (lines.read, lines.stored, lines.refused) == (3, 1, 2)
        found = opened.refused().set_index("row_number")["reason"].to_dict()
        assert "fhir_reference" in found.values()


def everything_in(folder: Path) -> bytes:
    """Bytes of all files of a store, and what its compressed blocks hold."""
    parts = [path.read_bytes() for path in folder.iterdir()]
    with sa.create_engine(f"sqlite:///{folder}/s.sqlite").connect() as connection:
        for table in ("blocks", "originals"):
            packed = connection.execute(sa.text(f"select packed from {table}")).scalars()
            parts += [str(blocks.unpacked(each).to_pydict()).encode() for each in packed]
        connection.engine.dispose()
    return b"".join(parts)


def test_names_addresses_and_texts_never_reach_the_store(store, folder) -> None:
    assert {"Bos en Lommerplein 280", "+31612345678", "Ariadne Bor-Jansma", "123456789"} <= set(
        PRIVATE
    )
    assert "1960-03-13" in PRIVATE
    stored = everything_in(folder)
    assert b"example-implant" in stored
    assert [text for text in PRIVATE if text.encode() in stored] == []


def test_nor_do_they_from_rows_that_are_refused_or_files_that_cannot_be_read(run, tmp_path) -> None:
    (tmp_path / "p.toml").write_text(PROFILE)
    (tmp_path / "policy.toml").write_text('time_zone = "Europe/Berlin"')
    lines = EXAMPLES.read_text("utf-8").splitlines()
    early = "\n".join(lines).replace('"2013-', '"2093-').replace('"2015-', '"2095-')
    (tmp_path / "early.ndjson").write_text(early)
    unlike = [line.replace('"birthDate"', '"birthDay"').replace('"id"', '"it"') for line in lines]
    (tmp_path / "unlike.ndjson").write_text("\n".join(unlike))
    (tmp_path / "cut.ndjson").write_text(EXAMPLES.read_text("utf-8")[:-40])
    store = f"sqlite:///{tmp_path}/db/s.sqlite"
    (tmp_path / "db").mkdir()
    shown = ""
    options = ("--source", "p.toml", "--policy", "policy.toml")
    for name in ("early", "unlike", "cut"):
        code, *texts = run("ingest", f"{name}.ndjson", *options, "--store", store)
        assert code in {1, 3}
        shown += "".join(texts)
    shown += "".join(map(str, run("refused", "--store", store)))
    assert "2093-" in shown
    stored = everything_in(tmp_path / "db")
    assert [text for text in PRIVATE if text in shown or text.encode() in stored] == []


def test_a_bundle_gives_what_lines_give(store, tmp_path) -> None:
    entries = [
        {"fullUrl": f"urn:example:{number}", "resource": orjson.loads(line)}
        for number, line in enumerate(EXAMPLES.read_bytes().splitlines())
    ]
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    path = tmp_path / "bundle.json"
    path.write_bytes(orjson.dumps(bundle, option=orjson.OPT_INDENT_2))
    with Store.open(f"sqlite:///{tmp_path}/s.sqlite") as other:
        found = read(other, [path, PATIENT])
        pd.testing.assert_frame_equal(other.records().lines, store.records().lines)
        pd.testing.assert_frame_equal(other.records().home_log, store.records().home_log)
    assert [(t.table, t.read) for t in found.tables] == [
        (t.table, t.read) for t in store.summary.tables
    ]


def test_the_profile_as_toml_is_the_same_profile() -> None:
    profile = parse_profile(PROFILE, "p.toml", "p")
    assert parse_profile(as_toml(profile), "p.toml", "p") == profile
