"""One correction fixes all refused rows of a cause, is shown first, and can be undone."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from analysis.ingest.fixing_causes import Cause, causes, fix_cause
from analysis.ingest.profile import Profile
from analysis.store import Store, StoreError
from tests.ingest_files import POLICY, RECEIVED_AT, programme, refusals, take_in, written
from tests.stored_rows import store, url

__all__ = ["programme", "store", "url"]

LOG = """\
entry_id,line_id,done_at,kind,findings
1,L1,2031-03-01,bath,none
2,L1,2031-03-02,bath,none
3,L1,2031-03-03,bath,fevr
4,L1,04/03/2031,flush,
5,L1,5/3/31,flush,
6,L1,2031-03-06,flush,
"""
BATH = Cause("home_log", "kind", "unknown_code", "bath")
LATER = RECEIVED_AT + timedelta(hours=1)


def fixed(store: Store, cause: Cause, write: str, minutes: int = 0) -> tuple[int, int]:
    at = LATER + timedelta(minutes=minutes)
    done = fix_cause(store, cause, write, POLICY, at=at, brought_by="manager")
    return done.stored, done.refused


def numbers(store: Store) -> list[str]:
    return sorted(store.records().home_log["entry_id"])


def test_one_word_and_one_order_of_dates_fix_all_their_rows(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG))
    found = dict(causes(programme.refused()))
    assert found[BATH] == 3
    order = next(cause for cause in found if cause.is_order and cause.reason == "ambiguous_date")
    with programme.trying() as trial:
        assert fixed(trial, BATH, "skin_check") == (2, 1)
    assert len(refusals(programme)) == 5
    assert fixed(programme, BATH, "skin_check") == (2, 1)
    assert numbers(programme) == ["1", "2", "6"]
    assert (4, "findings", "unknown_code") in refusals(programme)
    assert fixed(programme, order, "dmy")[1] == 0
    log = programme.records().home_log.set_index("entry_id")
    assert str(log.loc["4", "done_on"].date()) == "2031-03-04"
    assert fixed(programme, BATH, "skin_check") == (0, 0)


def test_a_correction_is_undone_and_its_rows_are_on_the_list_again(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "home_log.csv", LOG.replace("6,L1", "1,L1")))
    other = written(
        tmp_path, "home_log-ward.csv", "entry_id,line_id,done_at,kind\n9,L3,2031-03-04,bath\n"
    )
    take_in(programme, other, profile=Profile("ward"))
    before = sorted(refusals(programme)), numbers(programme)
    kinds = list(programme.records().home_log["kind"])
    assert fixed(programme, BATH, "skin_check")[0] >= 1
    corrections = sorted(set(programme.ingests()["ingest"].astype(int)))[-2:]
    programme.undo_corrections(corrections, "manager", LATER + timedelta(minutes=1))
    with pytest.raises(StoreError, match="undone already"):
        programme.undo_corrections(corrections, "manager", LATER + timedelta(minutes=2))
    assert (sorted(refusals(programme)), numbers(programme)) == before
    listed = programme.refused()
    bath = listed[listed["value"] == "bath"].sort_values("row")
    assert bath[["file", "source", "row_number"]].to_numpy().tolist() == [
        *(["home_log.csv, correction undone", "", n] for n in (2, 3, 4)),
        ["home_log-ward.csv, correction undone", "ward", 2],
    ]
    assert list(programme.records().home_log["kind"]) == kinds
    assert fixed(programme, BATH, "skin_check", 2)[0] >= 1
    with pytest.raises(StoreError, match="corrected nothing"):
        programme.undo_corrections([99], "manager", LATER)
