"""Files that are read again, or rows that are sent again, once the program reads more of them."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.ingest import Profile
from analysis.ingest.profile import TableProfile
from analysis.store import Store
from analysis.store.database import connect
from analysis.store.migrate import upgrade
from tests.ingest_files import RECEIVED_AT, doubts, programme, store, take_in, written

__all__ = ["programme", "store"]

BEFORE = Profile("ward")
AFTER = Profile(
    "ward", tables={"home_log": TableProfile(heads={"Dressing was": "dressing_condition"})}
)
"""The same source, before and after its profile says what "Dressing was" means."""

HEAD = "entry_id,line_id,done_at,kind,Dressing was,Mood"
ROWS = (
    "E1,L1,2031-03-10,dressing_change,loose,good",
    ",L1,2031-03-11,dressing_change,Damp,",
    ",L1,2031-03-12,skin_check,,good",
)
DAY = timedelta(days=1)


def log(*rows: str) -> str:
    return "\n".join([HEAD, *rows, ""])


def conditions(store: Store, known_at: datetime | None = None) -> list[tuple[str, str]]:
    """Day and dressing condition ("-": blank) of the entries known."""
    frame = store.records(known_at).home_log.sort_values("done_on")
    days = frame["done_on"].dt.strftime("%d")
    return list(zip(days, frame["dressing_condition"].astype(object).fillna("-"), strict=True))


FILLED = [("10", "loose"), ("11", "damp"), ("12", "-")]


def test_values_of_a_column_move_into_it_when_their_file_is_read_again(
    programme: Store, tmp_path: Path
) -> None:
    path = written(tmp_path, "home_log.csv", log(*ROWS))
    take_in(programme, path, profile=BEFORE)
    assert conditions(programme) == [("10", "-"), ("11", "-"), ("12", "-")]
    summary = take_in(programme, path, profile=AFTER, received_at=RECEIVED_AT + DAY)
    assert (summary.stored, summary.same_as_before) == (2, 1)
    assert "read again because" in summary.notes[0]
    assert conditions(programme) == FILLED
    # What was known the day before stays what it was.
    assert conditions(programme, RECEIVED_AT) == [("10", "-"), ("11", "-"), ("12", "-")]
    frame = programme.records().home_log
    for row in frame.loc[frame["dressing_condition"].notna(), "row"].tolist():
        versions = programme.versions_of_row("home_log", row)
        assert "Dressing was" in versions[0].content
        assert "Dressing was" not in versions[-1].content
    assert doubts(programme) == []


def test_a_file_that_was_read_again_is_not_read_a_third_time(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "home_log.csv", log(*ROWS))
    for profile in (BEFORE, AFTER):
        take_in(programme, path, profile=profile)
    monkeypatch.setattr("analysis.ingest.file_run.open_file", None)
    summary = take_in(programme, path, profile=AFTER)
    assert (summary.stored, summary.same_as_before) == (0, 3)


def test_an_entry_sent_again_in_another_file_is_the_same_event_now_known_better(
    programme: Store, tmp_path: Path
) -> None:
    take_in(programme, written(tmp_path, "march.csv", log(*ROWS)), profile=BEFORE, table="home_log")
    later = written(tmp_path, "all.csv", log(*ROWS, ROWS[1], ",L1,2031-03-13,skin_check,,"))
    summary = take_in(
        programme, later, profile=AFTER, table="home_log", received_at=RECEIVED_AT + DAY
    )
    assert (summary.stored, summary.same_as_before) == (3, 2)
    assert conditions(programme) == [*FILLED, ("13", "-")]
    first = programme.records().home_log.set_index("done_on")["row"]
    versions = programme.versions_of_row("home_log", int(first[pd.Timestamp("2031-03-11")]))
    assert [version.received_at for version in versions] == [RECEIVED_AT, RECEIVED_AT + DAY]
    # The first file, read again, adds nothing.
    again = take_in(programme, tmp_path / "march.csv", profile=AFTER, table="home_log")
    assert (again.stored, again.same_as_before) == (0, 3)


def test_a_correction_made_since_stays_when_the_file_before_it_is_read_again(
    programme: Store, tmp_path: Path
) -> None:
    path = written(tmp_path, "home_log.csv", log(*ROWS))
    take_in(programme, path, profile=BEFORE)
    plain = "entry_id,line_id,done_at,kind,dressing_condition,Dressing was,void\n"
    corrected = (
        f"{plain}E1,L1,2031-03-10,dressing_change,soiled,,\n"
        ",L1,2031-03-11,dressing_change,,Damp,yes\n"
    )
    take_in(
        programme,
        written(tmp_path, "home_log-corrected.csv", corrected),
        received_at=RECEIVED_AT + DAY,
    )
    assert conditions(programme) == [("10", "soiled"), ("12", "-")]
    take_in(programme, path, profile=AFTER, received_at=RECEIVED_AT + 2 * DAY)
    assert conditions(programme) == [("10", "soiled"), ("12", "-")]


def test_a_registry_row_read_again_with_more_of_it_known_is_a_version_of_its_line(
    store: Store, tmp_path: Path
) -> None:
    text = (
        "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type,Caseload\n"
        "L1,C1,F1,north,picc,2031-01-10,2031-01-20,gauze,N1\n"
    )
    path = written(tmp_path, "lines.csv", text)
    take_in(store, path, profile=BEFORE)
    known = Profile("ward", tables={"lines": TableProfile(heads={"Caseload": "nurse"})})
    assert take_in(store, path, profile=known, received_at=RECEIVED_AT + DAY).stored == 1
    assert store.records().lines["nurse"].tolist() == ["N1"]
    assert store.records(RECEIVED_AT).lines["nurse"].isna().all()


def times(store: Store) -> list[str]:
    return sorted(store.records().home_log["done_at"].dt.strftime("%d %H:%M"))


def test_moments_read_under_another_time_zone_replace_the_earlier_ones(
    programme: Store, tmp_path: Path
) -> None:
    # Two entries whose times differ by the difference of the zones: the first one's new moment is
    # the second one's old moment, and nothing else tells the two apart.
    text = log(",L1,2031-01-25T10:00,flush,,", ",L1,2031-01-25T15:00,flush,,")
    path = written(tmp_path, "home_log.csv", text)
    take_in(programme, path, profile=BEFORE)
    assert times(programme) == ["25 10:00", "25 15:00"]
    new_york = Profile("ward", time_zone="America/New_York")
    take_in(programme, path, profile=new_york, received_at=RECEIVED_AT + DAY)
    assert times(programme) == ["25 15:00", "25 20:00"]
    take_in(programme, path, profile=BEFORE, received_at=RECEIVED_AT + 2 * DAY)
    assert times(programme) == ["25 10:00", "25 15:00"]


def test_a_column_that_the_program_learns_makes_files_with_its_table_be_read_again(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "home_log.csv", log(*ROWS))
    take_in(programme, path)
    monkeypatch.setattr("analysis.ingest.reading.EDITION", 2)
    summary = take_in(programme, path)
    assert (summary.stored, summary.same_as_before) == (0, 3)
    assert "read again because" in summary.notes[0]


def test_a_store_made_before_readings_were_recorded_knows_the_heads_it_did_not(
    tmp_path: Path,
) -> None:
    database = connect(f"sqlite:///{tmp_path}/old.sqlite", create=True)
    upgrade(database, "0008")
    counts = ("file", "read", "stored", "same_as_before", "refused", "doubts", "last_row")
    of_file = sa.table("file_counts", sa.column("table_name"), *map(sa.column, counts))
    numbers = ("row", "key_row", "received_at", "void", "file", "row_number")
    log = sa.table("home_log", sa.column("content"), sa.column("extra"), *map(sa.column, numbers))
    with database.changing_tables() as connection:
        for file in (1, 2):
            count = {"table_name": "home_log", **dict.fromkeys(counts, 3), "file": file}
            connection.execute(sa.insert(of_file).values(count))
        for row, extra in enumerate(
            ('{"Mood":"good","Kits":"3"}', None, '{"Mood":"bad"}'), start=1
        ):
            cells = {**dict.fromkeys(numbers, row), "void": 0, "file": 1}
            cells = {**cells, "content": b"%16d" % row, "extra": extra}
            connection.execute(sa.insert(log).values(cells))
    upgrade(database, "0009")
    query = sa.text("SELECT file, unknown_heads, reading FROM file_counts ORDER BY file")
    with database.reading() as connection:
        found = connection.execute(query).all()
    assert [tuple(row) for row in found] == [(1, '["Kits", "Mood"]', None), (2, None, None)]
    database.let_go()
