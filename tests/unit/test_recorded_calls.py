"""A call recorded on the page and the same call in a file are one call."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from analysis.exports import As, record_tables, write_folder
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import (
    CallExistsError,
    NewCall,
    RecordedBeforeError,
    RecordedSinceError,
    Store,
)
from analysis.vocabulary import CallOutcome
from tests.stored_rows import store, url

__all__ = ["store", "url"]

MORNING = datetime(2031, 3, 4, 9, 10, tzinfo=UTC)
PAPER = """family_id,called_at,called_by,outcome,recheck_on,note
F2,2031-03-03T10:00:00Z,N2,no_answer,2031-03-20,rang twice
"""
NOW = datetime(2031, 3, 5, 12, tzinfo=UTC)


LINES = """line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type
L1,C1,F1,north,picc,2031-02-01,2031-02-02,transparent
L2,C2,F2,north,picc,2031-02-01,2031-02-02,transparent
"""


@pytest.fixture(autouse=True)
def registry(store: Store, tmp_path: Path) -> None:
    """Two families with a line each."""
    (tmp_path / "lines.csv").write_text(LINES)
    assert read(store, tmp_path / "lines.csv") == (2, 0)


def read(opened: Store, path: Path) -> tuple[int, int]:
    """Ingest a file; rows stored and rows that are the same as before."""
    found = ingest(opened, [path], shipped_policy(), ingested_at=NOW)
    assert [str(fault) for fault in found.faults] == []
    return sum(t.stored for t in found.tables), sum(t.same_as_before for t in found.tables)


def test_an_exported_call_of_the_page_is_the_same_when_it_comes_in_again(
    store: Store, tmp_path: Path
) -> None:
    store.record_call(
        "F1", "N1", CallOutcome.REACHED, "dry it", date(2031, 3, 6), MORNING, note="tired"
    )
    store.record_call("F1", "N1", CallOutcome.NO_ANSWER, None, None, NOW)
    seen = take(store, shipped_policy(), NOW.date())
    tables = {"records/calls": record_tables(seen)["calls"]}
    write_folder(tmp_path / "out", tables, As.CSV, lambda _: "")
    assert read(store, tmp_path / "out/records/calls.csv") == (0, 2)
    assert len(store.records().calls) == 2


def test_a_call_of_a_file_is_known_from_its_receipt_and_can_be_undone(
    store: Store, tmp_path: Path
) -> None:
    (tmp_path / "calls.csv").write_text(PAPER)
    assert read(store, tmp_path / "calls.csv") == (1, 0)
    assert len(store.records(datetime(2031, 3, 4, tzinfo=UTC)).calls) == 0
    call = store.records().calls.iloc[0]
    assert (call["called_by"], call["outcome"], call["note"]) == ("N2", "no_answer", "rang twice")
    store.undo_call(int(call["row"]), "N1", datetime(2031, 3, 6, tzinfo=UTC))
    assert len(store.records().calls) == 0
    assert store.all_calls()["undone_by"].tolist() == ["N1"]
    assert store.all_calls()["note"].tolist() == ["rang twice"]
    calls, arrangements = store.acts(NOW)
    assert (len(calls), len(arrangements)) == (1, 0)


def call(called_by: str = "N1", at: datetime = MORNING, since: int | None = None) -> NewCall:
    return NewCall("F1", called_by, CallOutcome.REACHED, at, since=since)


def test_calls_of_one_form_are_recorded_all_or_none(store: Store) -> None:
    first = store.record_calls([call("N2")], "N1", NOW, form="a")
    with pytest.raises(CallExistsError, match="A call by N2 to F1 at this time"):
        store.record_calls([call("N3"), call("N2")], "N1", NOW, form="b")
    assert store.records().calls["row"].tolist() == first
    with pytest.raises(RecordedBeforeError):
        store.record_calls([call("N3")], "N1", NOW, form="a")
    assert store.records().calls["called_by"].tolist() == ["N2"]
    assert len(store.records(MORNING).calls) == 0  # known from the moment of recording


def test_a_call_undone_can_be_recorded_again_at_the_same_time(store: Store) -> None:
    (row,) = store.record_calls([call()], "N1", NOW, form="a")
    store.undo_call(row, "N1", NOW)
    store.record_calls([call()], "N1", NOW + timedelta(minutes=1), form="b")
    assert len(store.records().calls) == 1


def test_a_call_recorded_by_another_person_meanwhile_is_reported(store: Store) -> None:
    (other,) = store.record_calls([call("N2", since=0)], "N2", NOW, form="a")
    with pytest.raises(RecordedSinceError) as found:
        store.record_calls([call("N1", since=0)], "N1", NOW, form="b")
    assert (found.value.row, found.value.called_by) == (other, "N2")
    store.record_calls([call("N1", since=other)], "N1", NOW, form="b")
    assert len(store.records().calls) == 2
    later = datetime(2031, 3, 5, 13, tzinfo=UTC)
    store.undo_call(other, "N2", later)
    newest = int(store.records().calls["row"].max())
    (undone,) = store.record_calls([call("N2", later, since=newest)], "N2", later, form="c")
    store.undo_call(undone, "N2", later + timedelta(minutes=1))
    store.record_calls([call("N3", later, since=newest)], "N3", later, form="d")
    assert len(store.records().calls) == 2
