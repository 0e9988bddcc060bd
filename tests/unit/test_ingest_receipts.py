"""A receipt in the future hides no row in silence."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from analysis.ingest import IngestError, ingest
from analysis.ingest.refused import listed
from analysis.snapshot import take
from analysis.store import Store
from tests.ingest_files import (
    LINES,
    POLICY,
    RECEIVED_AT,
    programme,
    refusals,
    store,
    take_in,
    written,
)

__all__ = ["programme", "store"]

HEAD = "entry_id,line_id,done_at,kind,findings,received_at,void\n"
FORTY_DAYS = timedelta(days=40)


def test_a_row_received_in_the_future_is_refused_and_says_so(
    programme: Store, tmp_path: Path
) -> None:
    text = (
        f"{HEAD}E1,L1,2031-03-30,skin_check,fever,2031-03-31T12:06Z,\n"
        "E2,L1,2031-03-30,skin_check,fever,2031-03-31T12:04Z,\n"
        "E3,L1,2031-03-30,skin_check,fever,2031-04-01,\n"
        "E4,L1,2031-03-30,skin_check,fever,2051-04-01,yes\n"
    )
    take_in(programme, written(tmp_path, "home_log.csv", text))
    assert refusals(programme) == [(row, "received_at", "receipt_ahead") for row in (2, 4, 5)]
    assert "later than now" in listed(programme.refused()).iloc[0, -1]
    assert programme.records().home_log["entry_id"].tolist() == ["E2"]


def test_a_row_received_today_is_known_at_once(programme: Store, tmp_path: Path) -> None:
    text = f"{HEAD}E1,L1,2031-03-30,skin_check,fever,2031-03-31,\n"
    take_in(programme, written(tmp_path, "home_log.csv", text))
    assert len(programme.records(RECEIVED_AT).home_log) == 1


def test_a_receipt_of_the_whole_ingest_may_not_lie_in_the_future(
    store: Store, tmp_path: Path
) -> None:
    path = written(tmp_path, "lines.csv", LINES)
    with pytest.raises(IngestError, match="later than now, 2031-03-31T12:00Z"):
        ingest(
            store,
            path,
            POLICY,
            received_at=RECEIVED_AT + timedelta(minutes=6),
            ingested_at=RECEIVED_AT,
        )
    within = RECEIVED_AT + timedelta(minutes=4)
    assert ingest(store, path, POLICY, received_at=within, ingested_at=RECEIVED_AT).stored == 5


def test_rows_stored_under_a_clock_that_was_ahead_are_reported_and_corrected(
    programme: Store, tmp_path: Path
) -> None:
    path = written(tmp_path, "home_log.csv", f"{HEAD}E1,L1,2031-03-30,skin_check,fever,,\n")
    take_in(programme, path, received_at=RECEIVED_AT + FORTY_DAYS)
    today = date(2031, 3, 31)
    found = take(programme, POLICY, today)
    assert found.records.home_log.empty
    assert found.not_yet_known == 1
    sentence = found.not_yet_known_sentence
    assert sentence is not None
    assert sentence == "1 stored row was received after 31 Mar 2031 and is left out."
    # On that day only a clock can be the cause; looked back at later, nothing is wrong.
    assert "a clock was ahead" in found.caveats_on(today)[-1]
    assert found.caveats_on(today + timedelta(days=1)) == found.caveats
    # The clock is right again, and the same file is ingested again.
    summary = take_in(programme, path)
    assert "a clock was ahead" in summary.notes[0]
    found = take(programme, POLICY, today)
    assert found.records.home_log["findings"].tolist() == ["fever"]
    assert (found.not_yet_known, found.not_yet_known_sentence) == (0, None)
    # What corrects the row in the meantime is not undone when that day comes.
    later = f"{HEAD}E1,L1,2031-03-30,skin_check,fever,,yes\n"
    take_in(
        programme,
        written(tmp_path, "home_log-2.csv", later),
        received_at=RECEIVED_AT + timedelta(days=1),
    )
    assert programme.records(datetime(2032, 1, 1, tzinfo=UTC)).home_log.empty
    assert take_in(programme, path).notes == (
        "home_log.csv: ingested before and not changed; nothing to do.",
    )


def test_a_list_of_an_earlier_day_counts_what_was_received_since(
    programme: Store, tmp_path: Path
) -> None:
    text = f"{HEAD}E1,L1,2031-03-30,skin_check,fever,,\n"
    later = RECEIVED_AT + timedelta(days=2)
    take_in(programme, written(tmp_path, "home_log.csv", text), received_at=later)
    assert take(programme, POLICY, date(2031, 4, 1)).not_yet_known == 1
    assert take(programme, POLICY, date(2031, 4, 2)).not_yet_known == 0
