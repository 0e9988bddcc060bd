"""What files would become is shown before anything is stored."""

from __future__ import annotations

import csv
import hashlib
import io
from pathlib import Path

from analysis.ingest import Profile
from analysis.ingest.preview import Preview, preview
from analysis.ingest.profile import TableProfile, Tick
from analysis.store import Store
from tests.commands import run
from tests.ingest_files import LINES, POLICY, RECEIVED_AT, programme, store, take_in, written

__all__ = ["programme", "run", "store"]

LOG = """\
Entry-ID,line_id,done_at,kind,findings,kits_left,Mood
a1,L1,2031-03-10T08:05,dressing_change,Redness; itch,,calm
a2,L1,2031-03-11,skin_check,none,,
a3,L9,2031-03-11,skin_check,none,,
a4,L1,03/04/2031,skin_check,none,,
a5,L1,2031-03-12,bath,,,
a6,L8,2031-03-12,flush,,,
a7,L1,2031-03-13,connector_change,,,
a8,L1,2031-03-14,connector_change,,,
"""


def shown(store: Store, *paths: Path, profile: Profile | None = None) -> Preview:
    return preview(store, paths, POLICY, profile, None, RECEIVED_AT, ingested_at=RECEIVED_AT)


def test_heads_rows_refusals_and_doubts_are_shown_as_an_ingest_would_see_them(
    programme: Store, tmp_path: Path
) -> None:
    found = shown(programme, path := written(tmp_path, "home_log.csv", LOG))
    (sheet,) = found.sheets
    assert (sheet.file, sheet.sheet, sheet.table) == ("home_log.csv", None, "home_log")
    assert [(h.head, h.column) for h in sheet.heads] == [
        ("Entry-ID", "entry_id"),
        ("line_id", "line_id"),
        ("done_at", "done_at"),
        ("kind", "kind"),
        ("findings", "findings"),
        ("kits_left", "kits_left"),
        ("Mood", None),
    ]
    assert sheet.absent[:2] == ("family_id", "caregiver_id")
    first = {cell.column: (cell.written, cell.read) for cell in sheet.rows[0].cells}
    assert first["done_at"] == ("2031-03-10T08:05", "2031-03-10 08:05")
    assert first["findings"] == ("Redness; itch", "itch;redness")
    assert first["kits_left"] == (None, None)
    assert [row.row_number for row in sheet.rows] == [2, 3, 4, 5, 6]
    assert sheet.rows[0].refused is None
    assert sheet.rows[3].refused is not None
    assert sheet.rows[3].refused.startswith("done_at: it is not clear which is the day")
    assert [(c.column, c.n_rows, c.first_rows, c.values) for c in sheet.refused] == [
        ("line_id", 2, (4, 7), ("L9", "L8")),
        ("kind", 1, (6,), ("bath",)),
        ("done_at", 1, (5,), ("03/04/2031",)),
    ]
    assert [(d.n_rows, d.first_rows) for d in sheet.doubts] == [(1, (9,))]
    assert found.summary == take_in(programme, path)


def test_a_preview_leaves_the_store_as_it_was_and_sees_files_named_together(
    store: Store, tmp_path: Path
) -> None:
    store.close()
    path = tmp_path / "test.sqlite"
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    files = [written(tmp_path, "home_log.csv", LOG), written(tmp_path, "lines.csv", LINES)]
    found = shown(store, *files)
    assert [sheet.table for sheet in found.sheets] == ["lines", "home_log"]
    assert (found.summary.stored, found.summary.refused) == (9, 4)
    assert store.ingests().empty
    assert store.records().lines.empty
    store.close()
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    assert store.data_version() == 0


def test_a_file_that_was_ingested_is_shown_all_the_same(programme: Store, tmp_path: Path) -> None:
    path = written(tmp_path, "stays2.csv", "child_id,from_on\nC2,2031-03-02\n")
    take_in(programme, path, table="stays")
    found = preview(programme, [path], POLICY, None, "stays", RECEIVED_AT, ingested_at=RECEIVED_AT)
    assert [row.row_number for row in found.sheets[0].rows] == [2]
    assert (found.summary.stored, found.summary.same_as_before) == (0, 1)


def test_columns_of_a_profile_are_shown_with_what_they_mean(
    programme: Store, tmp_path: Path
) -> None:
    tick = Tick("findings", "Red?", "redness", frozenset({"x"}), frozenset({"no"}))
    looks = TableProfile(fixed={"kind": "skin_check"}, heads={"Day": "done_at"}, ticks=(tick,))
    text = "line_id,Day,Red?\nL1,2031-03-10,x\nL1,2031-03-11,perhaps\n"
    profile = Profile("ward", tables={"home_log": looks})
    (sheet,) = shown(programme, written(tmp_path, "home_log.csv", text), profile=profile).sheets
    assert [(h.head, h.column, h.code) for h in sheet.heads] == [
        ("line_id", "line_id", None),
        ("Day", "done_at", None),
        ("Red?", "findings", "redness"),
    ]
    assert [(c.head, c.column, c.written, c.read) for c in sheet.rows[0].cells] == [
        ("line_id", "line_id", "L1", "L1"),
        ("Day", "done_at", "2031-03-10", "2031-03-10"),
        ("Red?", "findings", "x", "redness"),
        (None, "kind", None, "skin_check"),
    ]
    assert [(c.column, c.values) for c in sheet.refused] == [("Red?", ("perhaps",))]


def test_a_file_of_which_nothing_can_be_used_is_a_sentence_of_the_preview(
    programme: Store, tmp_path: Path
) -> None:
    found = shown(programme, written(tmp_path, "lines.csv", "line_id,nurse\nL1,N1\n"))
    assert found.sheets == ()
    assert "it has no child_id" in str(found.summary.faults[0])


def test_a_dry_run_makes_no_store_and_its_counts_are_those_of_the_ingest(run, tmp_path) -> None:
    written(tmp_path, "lines.csv", LINES)
    written(tmp_path, "home_log.csv", LOG)
    (tmp_path / "ours.toml").write_text('time_zone = "Asia/Tokyo"\n')
    named = ("lines.csv", "home_log.csv", "--policy", "ours.toml", "--received-at", "2031-03-31")
    code, out, err = run("ingest", *named, "--dry-run")
    assert not list(tmp_path.glob("*.sqlite*"))
    assert err.endswith("linedays: Nothing was stored.\n")
    assert "is now the policy" not in err
    counts = {
        (row["table"], row["column"]): row["rows"]
        for row in csv.DictReader(io.StringIO(out))
        if row["part"] == "count"
    }
    done, ingested, _ = run("ingest", *named)
    rows = list(csv.DictReader(io.StringIO(ingested)))
    assert counts == {
        (row["table"], name): row[name]
        for row in rows
        for name in ("read", "stored", "same_as_before", "refused", "doubts")
    }
    assert (code, done) == (1, 1)


def test_a_dry_run_on_a_terminal_puts_what_is_written_next_to_what_is_read(run, tmp_path) -> None:
    written(tmp_path, "lines.csv", LINES)
    written(tmp_path, "home_log.csv", LOG)
    code, out, _ = run("ingest", "lines.csv", "home_log.csv", "--dry-run", "--format", "table")
    assert code == 1
    assert "home_log.csv: read as home_log" in out
    assert "Redness; itch → itch;redness" in out
    assert "stored with the rows: Mood." in out
    assert "03/04/2031" in out
    assert not list(tmp_path.glob("*.sqlite*"))
