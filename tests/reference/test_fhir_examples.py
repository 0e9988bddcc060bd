"""The published FHIR R4 examples, read by a source profile of FHIRPath expressions.

*Source:* HL7, FHIR Release 4 (4.0.1), examples patient-f201, deviceusestatement-example,
procedure-example-implant, procedure-f201, encounter-f201, encounter-f203,
questionnaireresponse-f201 and observation-f202 of the specification (public domain, CC0), as
stored in the public repository LinuxForHealth/FHIR, fhir-examples/src/main/resources/json/spec,
"from FHIR R4 specification, retrieved 2019-07-01"; their generated narratives are left out here.
None is about a central line: the two procedures are read as if they had placed one.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import orjson
import pandas as pd
import pytest

from analysis.ingest import ingest
from analysis.ingest.profile_file import parse_profile
from analysis.ingest.profile_toml import as_toml
from analysis.policy import parse_policy
from analysis.store import Store

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
PRIVATE = (
    "Roel", "Bor", "Bos en Lommerplein", "Amsterdam", "1055RW", "31612345678", "31201234567",
    "Ariadne", "Surgeon", "123456789", "house dust", "Chemotherapy", "AUMC",
)  # fmt: skip
"""Names, addresses, numbers, displayed and answered texts of the examples."""


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


def test_names_addresses_and_texts_never_reach_the_store(store, folder) -> None:
    given = EXAMPLES.read_text("utf-8")
    assert all(text in given for text in PRIVATE)
    stored = b"".join(path.read_bytes() for path in folder.iterdir())
    assert b"example-implant" in stored
    assert [text for text in PRIVATE if text.encode() in stored] == []
    every = pd.concat([store.refused().astype(str), *map(_as_text, vars(store.records()).values())])
    shown = every.to_csv()
    assert [text for text in PRIVATE if text in shown] == []


def _as_text(frame: object) -> pd.DataFrame:
    return frame.astype(str) if isinstance(frame, pd.DataFrame) else pd.DataFrame()


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
