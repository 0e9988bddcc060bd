"""What the file says is shown next to what was read from it, where the two differ."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from analysis.ingest import load_profile
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.evidence.queries import sources_of
from dashboard.layout.templates import macro
from dashboard.security.roles import Reader
from tests.ingest_files import programme, store, take_in, written
from tests.unit.test_ingest_profile import DIARY, WARD

__all__ = ["programme", "store"]


@pytest.fixture
def diary(programme: Store, tmp_path: Path) -> Store:
    profile = load_profile(written(tmp_path, "ward.toml", WARD))
    path = tmp_path / "Diary March.csv"
    path.write_bytes(DIARY.encode("cp1252"))
    take_in(programme, path, profile=profile)
    return programme


def stored(store: Store) -> list[Any]:
    records = store.records()
    return store.source_rows("home_log", [int(row) for row in records.home_log["row"]])


def test_dates_words_and_ticks_of_a_sheet_are_stored_as_they_were_written(diary: Store) -> None:
    first = stored(diary)[0]
    assert first.row_number == 4
    assert first.originals == {
        "done_at": (("When done", "10/3/2031"),),
        "kind": (("What", "Dressing changed"),),
        "findings": (("Skin red", "x"),),
    }
    assert first.content["note"] == "gr\u00fcn"  # as it was written, so it is stored once


def test_a_file_of_our_own_form_needs_no_second_text(programme: Store, tmp_path: Path) -> None:
    log = "line_id,done_at,kind,findings\nL1,2031-03-04T09:00,skin_check,none\n"
    take_in(programme, written(tmp_path, "home_log.csv", log))
    assert [row.originals for row in stored(programme)] == [{}]


def test_the_source_row_shows_both_and_says_where_no_original_was_stored(diary: Store) -> None:
    found = take(diary, shipped_policy(), date(2031, 4, 1))
    row = int(found.records.home_log["row"].iloc[0])
    reader = Reader("N1", Role.MANAGER)

    def shown() -> str:
        source = sources_of([("home_log", row)], diary, found, reader)["home_log", row]
        return str(macro("evidence/source_rows", "source_row", source))

    assert (
        'dressing change <span class="original">in the file: \u201cDressing changed\u201d</span>'
        in shown()
    )
    assert "in the file: \u201cx\u201d" in shown()
    assert "before linedays stored original cells" not in shown()
    with diary.people._database.changing_tables() as connection:  # as an earlier version left it
        connection.exec_driver_sql("DROP TRIGGER file_counts_no_update").close()
        connection.exec_driver_sql("UPDATE file_counts SET originals = NULL").close()
    assert "before linedays stored original cells" in shown()
