"""History loaded at the start counts as received on the day it was done, as an assumption."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from analysis.ingest import IngestSummary, ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from tests.ingest_files import CAREGIVERS, LINES, POLICY, STAYS, refusals, store, written

__all__ = ["store"]

NOW = datetime(2032, 6, 1, 12, tzinfo=UTC)
LOG = "entry_id,line_id,caregiver_id,done_at,kind,findings,received_at\n" + "".join(
    f"E{day},L1,P1,2031-02-{day:02d}T20:00,skin_check,none,\n" for day in range(1, 29)
)


def load(store: Store, *paths: Path, history: bool, at: datetime = NOW) -> IngestSummary:
    return ingest(store, paths, POLICY, received_at=at, ingested_at=at, history=history)


def files(folder: Path) -> list[Path]:
    texts = {"lines": LINES, "stays": STAYS, "caregivers": CAREGIVERS, "home_log": LOG}
    return [written(folder, f"{name}.csv", text) for name, text in texts.items()]


def test_earlier_days_of_history_are_not_empty_and_rest_on_an_assumption(
    store: Store, tmp_path: Path
) -> None:
    assert load(store, *files(tmp_path), history=True).refused == 0
    on_the_tenth = take(store, POLICY, date(2031, 2, 10))
    assert len(on_the_tenth.records.home_log) == 10
    assert sorted(on_the_tenth.records.lines["line_id"]) == ["L1", "L2", "L3", "L4", "L5"]
    assert on_the_tenth.records.caregivers["caregiver_id"].tolist() == ["P1", "P2"]
    assert on_the_tenth.records.stays.empty
    received = on_the_tenth.records.home_log["received_at"]
    assert received.iloc[0] == datetime(2031, 2, 1, 23, 59, 59, 999_999)  # noqa: DTZ001
    assert on_the_tenth.records.is_assumed("home_log").all()
    sentence = on_the_tenth.history_sentence
    assert sentence is not None
    assert sentence.startswith("17 rows were loaded as history")
    assert sentence in on_the_tenth.caveats


def test_rows_that_name_their_receipt_keep_it(store: Store, tmp_path: Path) -> None:
    load(store, *files(tmp_path)[:3], history=True)
    row = "entry_id,line_id,done_at,kind,received_at\nE1,L1,2031-02-01,flush,2031-02-05T08:00Z\n"
    load(store, written(tmp_path, "home_log.csv", row), history=True)
    received = store.records().home_log["received_at"].tolist()
    assert received == [datetime(2031, 2, 5, 8)]  # noqa: DTZ001


def test_old_rows_are_doubted_and_their_file_can_be_loaded_again_as_history(
    store: Store, tmp_path: Path
) -> None:
    paths = files(tmp_path)
    summary = load(store, *paths, history=False)
    (note,) = (n for n in summary.notes if "--history" in n)
    assert note.startswith(
        "home_log.csv: 28 of 28 rows of home_log were received more than 60 days"
    )
    before = take(store, POLICY, date(2031, 2, 10))
    assert before.records.home_log.empty
    assert (before.history_sentence, before.not_yet_known) == (None, 36)
    later = NOW + timedelta(days=1)
    assert load(store, *paths, history=True, at=later).stored == 36
    after = take(store, POLICY, date(2031, 2, 10))
    assert len(after.records.home_log) == 10
    assert after.history_sentence is not None
    assert len(store.records().home_log) == 28
    assert load(store, *paths, history=True, at=later).stored == 0


def test_recent_rows_are_not_taken_for_history(store: Store, tmp_path: Path) -> None:
    at = datetime(2031, 3, 1, tzinfo=UTC)
    summary = load(store, *files(tmp_path)[:1], files(tmp_path)[3], history=False, at=at)
    assert not [n for n in summary.notes if "--history" in n]
    assert take(store, POLICY, date(2031, 3, 1)).caveats == ()


def test_a_discharge_may_be_planned_sixty_days_ahead(store: Store, tmp_path: Path) -> None:
    head, first, second, *_ = LINES.splitlines()
    planned = first.replace("2031-01-20", "2031-04-29"), second.replace("2031-01-20", "2031-05-01")
    at = datetime(2031, 2, 28, 12, tzinfo=UTC)
    text = "\n".join([head, *planned, ""]).replace("2031-02-10,therapy_complete", ",")
    summary = load(store, written(tmp_path, "lines.csv", text), history=False, at=at)
    assert (summary.stored, summary.refused) == (1, 1)
    assert refusals(store) == [(3, "home_from", "too_far_ahead")]
    found = take(store, shipped_policy(), date(2031, 3, 1))
    (line,) = found.timeline.lines.to_dict("records")
    assert line["home_line_days"] == 0
    assert found.calls.families["band"].tolist() in ([], ["no_call"])
