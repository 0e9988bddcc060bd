"""One refused row is mended by itself: with all checks, both or neither."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.ingest import NotListedError, Profile, StillRefusedError, load_profile
from analysis.ingest.fixing import RowToFix, fix_row, row_to_fix
from analysis.ingest.refused import write_back
from analysis.store import Store
from tests.cases import cases
from tests.ingest_files import LINES, POLICY, programme, refusals, store, take_in, written

__all__ = ["programme", "store"]

AT = datetime(2031, 4, 1, 9, tzinfo=UTC)
LOG = """\
entry_id,line_id,done_at,kind,findings,note,Mood
E1,L1,2031-02-30,skin_check,none,"went ""out"", late",=good
E2,L9,2031-03-11,bath,,,
E3,L1,2031-03-12,skin_check,none,,
"""


@pytest.fixture
def refused(programme: Store, tmp_path: Path) -> Store:
    """A store with two refused rows, numbers 1 and 2."""
    take_in(programme, written(tmp_path, "home_log-march.csv", LOG))
    return programme


def listed(store: Store, number: int) -> RowToFix:
    row = row_to_fix(store, number)
    assert row is not None
    return row


def mend(store: Store, number: int, **cells: str):
    row = listed(store, number)
    return fix_row(store, row, {**row.cells, **cells}, POLICY, received_at=AT, brought_by="N1")


def test_a_row_that_waits_has_all_its_cells_and_what_is_wrong(refused: Store) -> None:
    row = listed(refused, 1)
    assert (row.table, row.file, row.row_number) == ("home_log", "home_log-march.csv", 2)
    assert (row.column, row.value, row.reason) == ("done_at", "2031-02-30", "no_such_day")
    assert row.cells["note"] == 'went "out", late'
    assert row.cells["Mood"] == "=good"
    assert row.cells["kits_left"] == ""
    assert list(row.cells)[:3] == ["entry_id", "line_id", "family_id"]
    assert row_to_fix(refused, 9) is None


def test_a_mended_row_goes_in_and_off_the_list_with_who_mended_it(refused: Store) -> None:
    done = mend(refused, 1, done_at="2031-02-27")
    assert (done.read, done.stored, done.refused) == (1, 1, 0)
    assert refusals(refused) == [(3, "kind", "unknown_code")]
    log = refused.records().home_log
    row = log[log["entry_id"] == "E1"].iloc[0]
    assert row["note"] == 'went "out", late'
    (source,) = refused.source_rows("home_log", [int(row["row"])])
    assert source.file == "home_log-march.csv row 2, corrected"
    assert source.content["Mood"] == "=good"
    assert source.received_at == AT
    assert refused.ingests()["brought_by"].iloc[-1] == "N1"


def test_a_row_that_is_still_wrong_says_what_now_and_nothing_is_stored(refused: Store) -> None:
    version, before = refused.data_version(), refused.refused()
    with pytest.raises(StillRefusedError) as still:
        mend(refused, 2, kind="skin_check")
    assert (still.value.column, still.value.value) == ("line_id", "L9")
    assert still.value.reason == "unknown_line"
    assert refused.data_version() == version
    pd.testing.assert_frame_equal(refused.refused(), before)
    assert mend(refused, 2, kind="skin_check", line_id="L1").stored == 1


def test_a_row_is_mended_once(refused: Store) -> None:
    row = listed(refused, 1)
    mend(refused, 1, done_at="2031-02-27")
    assert row_to_fix(refused, 1) is None
    version = refused.data_version()
    with pytest.raises(NotListedError):  # somebody else was quicker
        fix_row(
            refused,
            row,
            {**row.cells, "done_at": "2031-02-26"},
            POLICY,
            received_at=AT + timedelta(minutes=1),
            brought_by="N2",
        )
    assert refused.data_version() == version


def test_a_row_that_nobody_needs_is_taken_off_and_not_stored(refused: Store) -> None:
    known = len(refused.records().home_log)
    mend(refused, 2, void="yes")
    assert refusals(refused) == [(2, "done_at", "no_such_day")]
    assert len(refused.records().home_log) == known


def test_a_mended_row_belongs_to_the_source_it_came_from(programme: Store, tmp_path: Path) -> None:
    path = written(tmp_path, "home_log.csv", LOG)
    take_in(programme, path, profile=Profile(name="ward sheet"))
    mend(programme, 1, done_at="2031-02-27")
    assert programme.ingests()["source"].iloc[-1] == "ward sheet"


def test_a_row_of_the_registry_is_mended_too(store: Store, tmp_path: Path) -> None:
    text = "caregiver_id,family_id,relation\nP1,F1,parnt\n"
    take_in(store, written(tmp_path, "caregivers.csv", text))
    mend(store, 1, relation="parent")
    assert store.records().caregivers["relation"].tolist() == ["parent"]
    assert refusals(store) == []


CELLS = {
    "line_id": st.sampled_from(["L1", "L2", "L9", ""]),
    "done_at": st.sampled_from(["2031-03-20", "2031-03-20T07:30", "2031-02-30", "soon", ""]),
    "kind": st.sampled_from(["flush", "skin_check", "bath", ""]),
    "kits_left": st.sampled_from(["", "3", "-1", "two"]),
    "note": st.text(st.characters(codec="utf-8"), max_size=12),
    "void": st.sampled_from(["", "", "yes", "perhaps"]),
}


@pytest.fixture(scope="module")
def waiting(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store in which the two rows wait."""
    folder = tmp_path_factory.mktemp("waiting")
    with Store.open(f"sqlite:///{folder}/store.sqlite") as store:
        take_in(store, written(folder, "lines.csv", LINES))
        take_in(store, written(folder, "home_log.csv", LOG))
    return folder / "store.sqlite"


@cases(12)
@given(st.fixed_dictionaries(CELLS))
def test_a_row_mended_here_and_one_mended_in_its_file_end_the_same(
    waiting, tmp_path_factory, cells
) -> None:
    folder = tmp_path_factory.mktemp("both")
    ends = []
    for door in (_mended_here, _mended_in_a_file):
        place = shutil.copy(waiting, folder / f"{door.__name__}.sqlite")
        with Store.open(f"sqlite:///{place}") as store:
            wrong = door(store, folder, cells)
            log = store.records().home_log.drop(columns="row")
            ends.append((wrong, log.astype(str).to_dict("list")))
    assert ends[0] == ends[1]


def _mended_here(store: Store, _: Path, cells: dict[str, str]):
    """Mend the first row; what is still wrong."""
    try:
        mend(store, 1, **cells)
    except StillRefusedError as still:
        return (still.column, still.reason)
    return None


def _mended_in_a_file(store: Store, folder: Path, cells: dict[str, str]):
    """Write the list back, mend the row in the file, ingest it; what is still wrong."""
    (path,) = write_back(store, folder / "mend")
    sheet = pd.read_csv(path, dtype=str, keep_default_na=False)
    sheet = sheet[sheet["refused_row"] == "1"].assign(**cells)
    sheet.to_csv(path, index=False)
    summary = take_in(store, path, received_at=AT)
    if not summary.refused:
        return None
    row = store.refused().iloc[-1]
    return (None if pd.isna(row["column"]) else row["column"], row["reason"])


TICKS = """\
name = "tick sheet"
[table.home_log]
names = ["ticks*"]
[table.home_log.fixed]
kind = "skin_check"
[[table.home_log.ticks]]
column = "findings"
head = "Fever?"
code = "fever"
[[table.home_log.ticks]]
column = "findings"
head = "Rash?"
code = "rash"
"""


@pytest.fixture
def ticked(programme: Store, tmp_path: Path) -> Profile:
    """The profile of a sheet with one unreadable tick, which waits as number 1."""
    profile = load_profile(written(tmp_path, "ticks.toml", TICKS))
    text = "line_id,done_at,Fever?,Rash?\nL1,2031-03-20,perhaps,\n"
    take_in(programme, written(tmp_path, "ticks.csv", text), profile=profile)
    assert refusals(programme) == [(2, "Fever?", "unreadable_tick")]
    return profile


def mended_ticks(store: Store, folder: Path, profile: Profile | None = None, **cells: str):
    """Mend the tick in the file written back; findings in force after it, and the list."""
    (path,) = write_back(store, folder / "mend")
    sheet = pd.read_csv(path, dtype=str, keep_default_na=False).assign(**cells)
    sheet.to_csv(path, index=False)
    take_in(store, path, profile=profile, received_at=AT)
    found = store.records().home_log["findings"].dropna().tolist()
    return found, [reason for _, _, reason in refusals(store)]


def test_a_tick_mended_in_a_file_is_not_lost_without_the_profile(
    programme: Store, ticked: Profile, tmp_path: Path
) -> None:
    lost = mended_ticks(programme, tmp_path, **{"Fever?": "yes"})
    assert lost == ([], ["tick_without_profile"])
    still = mended_ticks(programme, tmp_path / "2", **{"Fever?": "no"})  # mended again
    assert still == ([], ["tick_without_profile"])


def test_a_tick_is_mended_by_writing_its_code(
    programme: Store, ticked: Profile, tmp_path: Path
) -> None:
    cells = {"Fever?": "", "findings": "fever"}
    assert mended_ticks(programme, tmp_path, **cells) == (["fever"], [])


def test_a_tick_mended_on_its_page_is_read_by_the_known_profile(
    programme: Store, ticked: Profile
) -> None:
    profiles = {ticked.name: ticked}
    row = row_to_fix(programme, 1, profiles)
    assert row is not None
    assert row.cells["Rash?"] == ""  # nobody looked, so that a no to fever is not none
    cells = {**row.cells, "Fever?": "no"}
    fix_row(programme, row, cells, POLICY, received_at=AT, brought_by="N1")
    assert programme.records().home_log["findings"].isna().all()
