"""Which files are read, which table each holds, and how its cells are found."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

from analysis.ingest import Profile, Progress, ingest
from analysis.ingest.heads import table_of_name
from analysis.ingest.profile import TableProfile
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

LOG = "line_id,done_at,kind,note\nL1,2031-03-10,note,one\nL1,2031-03-11,note,two\n"


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("lines", "lines"),
        ("Home Log 2031-03", "home_log"),
        ("home_log-2031-03", "home_log"),
        ("HomeLog2031", "home_log"),
        ("sign-offs", "sign_offs"),
        ("outcomes.v2", "outcomes"),
        ("linesman", None),
        ("diary", None),
        ("my lines", None),
    ],
)
def test_the_table_is_taken_from_the_start_of_the_name(name: str, table: str | None) -> None:
    assert table_of_name(name) == table


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_csv_is_read_with_any_separator_byte_order_mark_and_line_end(
    store: Store, tmp_path: Path, separator: str, mark: bytes, line_end: str
) -> None:
    text = LINES.replace(",", separator).replace("\n", line_end)
    take_in(store, written(tmp_path, "lines.csv", mark + text.encode()))
    assert store.records().lines["line_id"].tolist() == ["L1", "L2", "L3", "L4", "L5"]


def test_the_head_row_tells_the_table_when_the_name_does_not(store: Store, tmp_path: Path) -> None:
    summary = take_in(store, written(tmp_path, "export 17.csv", LINES))
    assert [(c.file, c.table, c.stored) for c in summary.tables] == [("export 17.csv", "lines", 5)]


def test_heads_are_matched_without_case_spaces_and_dashes(store: Store, tmp_path: Path) -> None:
    text = LINES.replace("line_id", "Line ID").replace("child_id", "CHILD-ID")
    assert take_in(store, written(tmp_path, "lines.csv", text)).stored == 5


def test_quoted_cells_hold_separators_quotes_and_line_ends(
    programme: Store, tmp_path: Path
) -> None:
    text = (
        'line_id,done_at,kind,note\nL1,2031-03-10,note,"a, ""b""\r\nc"\n'
        'L1,2031-03-11,note,5" tube\nL1,2031-03-12,note,bad,cell\n'
    )
    take_in(programme, written(tmp_path, "home_log.csv", text))
    assert programme.records().home_log["note"].tolist() == ['a, "b"\nc', '5" tube']
    assert refusals(programme) == [(4, None, "ragged_row")]


def test_rows_are_counted_as_a_person_sees_them_with_blank_and_odd_ones(
    programme: Store, tmp_path: Path
) -> None:
    text = (
        "line_id,done_at,kind,note\n\nL1,2031-03-10,note,\n,,,\nL1,2031-03-11\n"
        "L1,2031-03-12,note,,,\nL1,soon,note,\n"
    )
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert (summary.read, summary.stored) == (4, 2)  # the row with blank cells beyond goes in
    assert refusals(programme) == [(5, None, "ragged_row"), (7, "done_at", "unreadable_date")]
    rows = programme.records().home_log["row"].tolist()
    assert [r.row_number for r in programme.source_rows("home_log", rows)] == [3, 6]


def test_row_numbers_go_on_through_the_pieces_of_a_large_file(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.ingest.csv_file.BATCH_BYTES", 64)
    rows = [f'L1,2031-03-10,note,"n {at},\n x"' for at in range(200)]
    rows[150] = "L1,soon,note,x"
    rows[170] = "L1,2031-03-10"
    text = "\n".join(["line_id,done_at,kind,note", *rows])
    summary = take_in(programme, written(tmp_path, "home_log.csv", text))
    assert (summary.read, summary.stored) == (200, 198)
    assert refusals(programme) == [(152, "done_at", "unreadable_date"), (172, None, "ragged_row")]


def test_a_folder_is_read_with_the_registry_first_and_the_rest_named(
    store: Store, tmp_path: Path
) -> None:
    folder = tmp_path / "in"
    (folder / "old").mkdir(parents=True)
    written(folder, "a home log.csv", LOG)  # sorted before lines by name, and named by its heads
    written(folder, "lines.csv", LINES)
    written(folder, "readme.md", "hello")
    written(folder, ".hidden.csv", "x")
    written(folder, "~$lines.xlsx", "x")
    summary = take_in(store, folder)
    assert [(c.table, c.stored, c.refused) for c in summary.tables] == [
        ("lines", 5, 0),
        ("home_log", 2, 0),
    ]
    assert [note.split(":")[0] for note in summary.notes] == ["readme.md"]


def test_a_link_out_of_a_folder_is_not_followed(store: Store, tmp_path: Path) -> None:
    folder, elsewhere = tmp_path / "in", tmp_path / "private"
    folder.mkdir()
    elsewhere.mkdir()
    written(folder, "lines.csv", LINES)
    written(elsewhere, "home_log.csv", LOG)
    (folder / "home_log.csv").symlink_to(elsewhere / "home_log.csv")
    (folder / "more").symlink_to(elsewhere)
    (folder / "again.csv").symlink_to(folder / "lines.csv")
    summary = take_in(store, folder)
    assert {c.table for c in summary.tables} == {"lines"}
    assert [note.split(":")[0] for note in summary.notes] == ["home_log.csv", "more"]
    assert all("a link to a place outside the folder" in note for note in summary.notes)


def test_a_whole_workbook_goes_in_with_the_lines_sheet_before_the_log_sheet(
    store: Store, tmp_path: Path
) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Home log"
    for row in (
        ["line_id", "done_at", "kind", "kits_left", "entry_id"],
        ["L1", date(2031, 3, 10), "supply_count", 3, 7.0],
        ["L1", datetime(2031, 3, 11, 18, 30), "note", None, "007"],  # noqa: DTZ001
        ["L1", datetime(2031, 3, 12, 9, 59, 59, 999_700), "note", 2.5, None],  # noqa: DTZ001
    ):
        sheet.append(row)
    lines = book.create_sheet("lines")
    for row in LINES.splitlines():
        lines.append(row.split(","))
    book.create_sheet("Legend").append(["what", "the", "words", "mean"])
    book.save(tmp_path / "march.xlsx")
    summary = take_in(store, tmp_path / "march.xlsx")
    assert [(c.table, c.stored, c.refused) for c in summary.tables] == [
        ("lines", 5, 0),
        ("home_log", 2, 1),
    ]
    rows = store.records().home_log
    assert rows["entry_id"].tolist() == ["7", "007"]
    assert rows["done_at"].dt.strftime("%H:%M").where(rows["done_at"].notna(), None).tolist() == [
        None,
        "18:30",
    ]
    assert store.refused()[["sheet", "row_number", "column", "value"]].to_numpy().tolist() == [
        ["Home log", 4, "kits_left", "2.5"]
    ]
    assert 'march.xlsx sheet "Legend"' in summary.notes[0]


def test_a_head_of_merged_rows_and_a_sheet_that_starts_further_in_are_found(
    store: Store, tmp_path: Path
) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Registry"
    names = LINES.splitlines()[0].split(",")
    sheet["C3"] = "Line"  # stands over line_id and child_id, as merged cells do
    for at, name in enumerate(names):
        sheet.cell(4, 3 + at, name)
        sheet.cell(5, 3 + at, LINES.splitlines()[1].split(",")[at] or None)
    sheet.merge_cells("C3:D3")
    book.save(tmp_path / "book.xlsx")
    profile = Profile(
        name="book",
        tables={
            "lines": TableProfile(
                names=("registry",),
                skip_rows=2,
                head_rows=2,
                heads={
                    f"Line {name}": name for name in names
                },  # the upper head repeats to the right
            )
        },
    )
    assert take_in(store, tmp_path / "book.xlsx", profile=profile).stored == 1
    row = store.source_rows("lines", store.records().lines["row"].tolist())[0]
    assert (row.sheet, row.row_number, row.content["site"]) == ("Registry", 5, "north")


def test_cells_that_a_workbook_shows_as_errors_or_never_computed_are_refused(
    programme: Store, tmp_path: Path
) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "home_log"
    for row in (
        ["line_id", "done_at", "kind", "note", "elsewhere"],
        ["L1", date(2031, 3, 10), "note", "#REF!", None],
        ["L1", date(2031, 3, 11), "note", "=A1&B1", None],
        ["L1", date(2031, 3, 12), "note", "fine", "=A1"],
        ["L1", date(2031, 3, 13), "note", "fine", None, None, "far out"],
    ):
        sheet.append(row)
    sheet["D2"].data_type = "e"
    book.save(tmp_path / "book.xlsx")
    assert take_in(programme, tmp_path / "book.xlsx").stored == 1
    assert refusals(programme) == [
        (2, "note", "error_cell"),
        (3, "note", "formula_without_value"),
        (5, None, "ragged_row"),
    ]


def test_an_ods_sheet_is_read_like_a_workbook(programme: Store, tmp_path: Path) -> None:
    document = OpenDocumentSpreadsheet()
    sheet = Table(name="home_log")
    text = "string"

    def cell(shown: str, **given: str) -> TableCell:
        made = TableCell(**given)
        made.addElement(P(text=shown))
        return made

    for row in (
        [cell(h, valuetype=text) for h in ("line_id", "done_at", "kind", "kits_left")],
        [
            cell("L1", valuetype=text),
            cell("10.03.31", valuetype="date", datevalue="2031-03-10"),
            cell("note", valuetype=text),
            cell("3", valuetype="float", value="3"),
        ],
        [
            cell("L1", valuetype=text),
            cell("11.03.31", valuetype="date", datevalue="2031-03-11"),
            cell("note", valuetype=text),
            cell("#DIV/0!", formula="of:=1/0"),
        ],
    ):
        line = TableRow()
        for made in row:
            line.addElement(made)
        sheet.addElement(line)
    filler = TableRow(numberrowsrepeated=1_048_000)  # what programs write below a table
    filler.addElement(TableCell(numbercolumnsrepeated=16_000))
    sheet.addElement(filler)
    document.spreadsheet.addElement(sheet)
    document.save(tmp_path / "march.ods")
    assert take_in(programme, tmp_path / "march.ods").stored == 1
    assert programme.records().home_log["kits_left"].tolist() == [3]
    assert refusals(programme) == [(3, "kits_left", "error_cell")]


def test_parquet_columns_may_have_types(programme: Store, tmp_path: Path) -> None:
    rows = pa.table(
        {
            "entry_id": pa.array([1, 2, 3]),
            "line_id": pa.array(["L1", "L1", "L1"]).dictionary_encode(),
            "done_at": pa.array(
                [datetime(2031, 3, 10, 5), datetime(2031, 3, 11), None],  # noqa: DTZ001
                pa.timestamp("ms", "Asia/Tokyo"),
            ),
            "kind": ["skin_check"] * 3,
            "findings": pa.array([["redness", "itch"], ["none"], None]),
            "kits_left": pa.array([2.0, None, float("nan")]),
            "void": pa.array([False, False, None]),
        }
    )
    pq.write_table(rows, tmp_path / "home_log.parquet")
    take_in(programme, tmp_path / "home_log.parquet")
    frame = programme.records().home_log
    assert frame["entry_id"].tolist() == ["1", "2"]
    assert frame["findings"].tolist() == ["itch;redness", "none"]
    assert frame["done_at"].dt.strftime("%d %H:%M").tolist() == ["10 05:00", "11 00:00"]
    assert frame["kits_left"].fillna(-1).tolist() == [2, -1]
    assert refusals(programme) == [(3, "done_at", "missing_value")]


def test_the_same_file_twice_changes_nothing_and_is_not_read_again(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "home_log.csv", LOG)
    take_in(programme, path)
    version = programme.data_version()
    monkeypatch.setattr("analysis.ingest.file_run.open_file", None)
    summary = take_in(programme, path)
    assert (summary.read, summary.stored, summary.same_as_before) == (2, 0, 2)
    assert programme.data_version() == version
    assert "ingested before" in summary.notes[0]


def test_a_file_with_refused_rows_is_read_again_and_what_can_now_be_used_goes_in(
    store: Store, tmp_path: Path
) -> None:
    log = written(tmp_path, "home_log.csv", LOG)
    assert take_in(store, log).refused == 2
    assert take_in(store, log).refused == 2
    assert len(store.refused()) == 2
    take_in(store, written(tmp_path, "lines.csv", LINES))
    summary = take_in(store, log)
    assert (summary.stored, summary.refused) == (2, 0)
    assert store.refused().empty


def test_progress_tells_rows_and_bytes_and_ends_at_the_whole(store: Store, tmp_path: Path) -> None:
    log, lines = written(tmp_path, "home_log.csv", LOG), written(tmp_path, "lines.csv", LINES)
    seen: list[Progress] = []
    ingest(store, [log, lines], POLICY, received_at=RECEIVED_AT, progress=seen.append)
    assert {p.file for p in seen} == {"home_log.csv", "lines.csv"}
    done = [p.bytes_done for p in seen]
    assert done == sorted(done)
    assert done[-1] == seen[-1].bytes_total == len(LOG) + len(LINES)
