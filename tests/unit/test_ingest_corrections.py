"""An entry without a number that was corrected in a later export: a doubt, and one step to void it."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from analysis.snapshot import take
from analysis.store import Store, StoreError
from tests.commands import run
from tests.ingest_files import POLICY, RECEIVED_AT, doubts, programme, take_in, written
from tests.stored_rows import store, url

__all__ = ["programme", "run", "store", "url"]

HEAD = "line_id,done_at,kind,findings\n"
FIRST = "L1,2031-03-28,dressing_change,none\n"
FEVER = "L1,2031-03-30T08:00,skin_check,fever\n"
NO_FEVER = "L1,2031-03-30T08:00,skin_check,none\n"
LATER = RECEIVED_AT + timedelta(hours=2)


def corrected(store: Store, folder: Path) -> None:
    """The export of a day, then the one of the next, in which a fever was struck out."""
    take_in(store, written(folder, "home_log.csv", HEAD + FIRST + FEVER))
    log = written(folder, "home_log.csv", HEAD + FIRST + NO_FEVER)
    summary = take_in(store, log, received_at=RECEIVED_AT + timedelta(hours=1))
    assert (summary.stored, summary.tables[0].doubts) == (1, 1)


def band(store: Store) -> str:
    families = take(store, POLICY, date(2031, 3, 31)).calls.families
    return str(families.set_index("family_id")["band"].get("F1", "no call"))


def test_a_corrected_entry_of_a_cumulative_export_is_a_doubt_and_the_old_one_can_be_voided(
    programme: Store, tmp_path: Path
) -> None:
    corrected(programme, tmp_path)
    assert doubts(programme) == [(3, "looks_like_correction")]
    assert band(programme) == "same_day_review"
    (pair,) = programme.corrections().to_dict("records")
    assert (pair["row"], pair["earlier_row"]) == (4, 2)
    programme.void_entry(2, "manager", LATER)
    assert band(programme) != "same_day_review"
    assert doubts(programme) == []
    assert programme.corrections().empty
    assert programme.ingests()["file"].iloc[-1] == "home_log.csv row 3, voided"


def test_a_void_can_be_undone_and_not_done_twice(programme: Store, tmp_path: Path) -> None:
    corrected(programme, tmp_path)
    programme.void_entry(2, "manager", LATER)
    with pytest.raises(StoreError, match="no longer in force"):
        programme.void_entry(2, "manager", LATER)
    with pytest.raises(StoreError, match="no log entry number 99"):
        programme.void_entry(99, "manager", LATER)
    programme.restore_entry(2, "manager", LATER + timedelta(minutes=1))
    assert band(programme) == "same_day_review"
    assert doubts(programme) == [(3, "looks_like_correction")]
    with pytest.raises(StoreError, match="not voided"):
        programme.restore_entry(2, "manager", LATER)
    programme.void_entry(2, "manager", LATER + timedelta(minutes=2))
    assert doubts(programme) == []


def test_the_next_export_does_not_bring_a_voided_entry_back(
    programme: Store, tmp_path: Path
) -> None:
    corrected(programme, tmp_path)
    programme.void_entry(2, "manager", LATER)
    more = HEAD + FIRST + NO_FEVER + "L1,2031-03-31,skin_check,none\n"
    at = datetime(2031, 4, 1, 9, tzinfo=UTC)
    take_in(programme, written(tmp_path, "home_log.csv", more), received_at=at)
    assert len(programme.records().home_log) == 3
    assert doubts(programme) == []


@pytest.mark.parametrize(
    ("first", "then", "marked"),
    [
        # Two flushes a day, each in the export of its own half day.
        ("L1,2031-03-30T08:00,flush,\n", "L1,2031-03-30T20:00,flush,\n", False),
        # The same in cumulative exports.
        ("L1,2031-03-30T08:00,flush,\n", FIRST + "L1,2031-03-30T08:00,flush,\n" * 2, False),
        # The time was corrected, and the file repeats another entry of the line that day.
        (
            "L1,2031-03-30T08:00,flush,\nL1,2031-03-30,note,\n",
            "L1,2031-03-30T09:00,flush,\nL1,2031-03-30,note,\n",
            True,
        ),
        (FEVER, "L1,2031-03-30T08:00,dressing_change,none\n", False),
        (FEVER, "L2,2031-02-01T08:00,skin_check,none\n", False),
    ],
)
def test_only_an_entry_like_one_that_the_file_lacks_is_doubted(
    programme: Store, tmp_path: Path, first: str, then: str, *, marked: bool
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", HEAD + first))
    take_in(programme, written(tmp_path, "home_log.csv", HEAD + then), received_at=LATER)
    assert ("looks_like_correction" in dict(doubts(programme)).values()) is marked


def test_the_commands_list_doubts_and_void_the_earlier_entry(
    programme: Store, tmp_path: Path, run: Callable[..., tuple[int, str, str]], url: str
) -> None:
    corrected(programme, tmp_path)
    programme.close()
    store = ("--store", url)
    code, out, _ = run("doubts", *store)
    assert code == 0
    (row,) = csv.DictReader(out.splitlines())
    assert (row["row"], row["earlier_row"], row["doubt"]) == ("4", "2", "looks_like_correction")
    assert "entry of the same line, day and kind" in row["why"]
    assert run("doubts", "void", row["earlier_row"], *store)[0] == 0
    assert run("doubts", *store)[1].count("\n") == 1
    assert run("doubts", "void", row["earlier_row"], "--undo", *store)[0] == 0
    assert run("doubts", *store)[1].count("\n") == 2
    code, _, err = run("doubts", "void", "77", *store)
    assert (code, "There is no log entry number 77" in err) == (3, True)


def test_entries_with_a_number_are_corrected_by_it_and_not_doubted(
    programme: Store, tmp_path: Path
) -> None:
    for at, row in ((RECEIVED_AT, FEVER), (LATER, NO_FEVER)):
        log = written(tmp_path, "home_log.csv", f"entry_id,{HEAD}E1,{row}")
        take_in(programme, log, received_at=at)
    assert doubts(programme) == []
    with pytest.raises(StoreError, match="entry_id"):
        programme.void_entry(2, "manager", LATER)
