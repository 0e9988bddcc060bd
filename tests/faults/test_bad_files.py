"""Files that cannot be used: each gives one sentence, and the files beside it go in."""

from __future__ import annotations

import bz2
import gzip
import io
import os
import subprocess
import sys
import textwrap
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from analysis.ingest import FileFault, IngestError, file_run, ingest
from analysis.store import Store
from tests.ingest_files import LINES, POLICY, programme, refusals, store, take_in, written

__all__ = ["programme", "store"]

GOOD = "line_id,done_at,kind\nL1,2031-03-10,note\n"
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def workbook(**sheets: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def log_book() -> bytes:
    return workbook(home_log=[row.split(",") for row in GOOD.splitlines()])


def with_member(book: bytes, member: str, content: bytes) -> bytes:
    """The workbook with one part of its archive replaced."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(book)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            new.writestr(name, content if name == member else old.read(name))
    return buffer.getvalue()


def sheet_xml(rows: str) -> bytes:
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    return f'<worksheet xmlns="{main}"><sheetData>{rows}</sheetData></worksheet>'.encode()


def zip_bomb() -> bytes:
    """A sheet of two gigabytes of blanks, packed into two megabytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
        with archive.open("xl/worksheets/sheet1.xml", "w", force_zip64=True) as member:
            for _ in range(100):
                member.write(b" " * 20_000_000)
    return buffer.getvalue()


def lying_zip() -> bytes:
    """A workbook whose directory declares a tenth of a sheet's true size."""
    rows = "".join(f'<row r="{n}"><c r="A{n}"><v>{n}</v></c></row>' for n in range(1, 5000))
    book = bytearray(with_member(log_book(), "xl/worksheets/sheet1.xml", sheet_xml(rows)))
    with zipfile.ZipFile(io.BytesIO(bytes(book))) as archive:
        size = archive.getinfo("xl/worksheets/sheet1.xml").file_size
    true, told = size.to_bytes(4, "little"), (size // 10).to_bytes(4, "little")
    return bytes(book).replace(true, told)


def parquet(columns: dict[str, object]) -> bytes:
    buffer = io.BytesIO()
    pq.write_table(pa.table(columns), buffer)
    return buffer.getvalue()


LOG_COLUMNS = {"line_id": ["L1"], "done_at": ["2031-03-10"], "kind": ["note"]}

BAD_FILES: dict[str, tuple[str, Callable[[], bytes], FileFault, str]] = {
    "empty": ("home_log.csv", lambda: b"", FileFault.EMPTY, "the file is empty"),
    "white space": ("home_log.csv", lambda: b"\xef\xbb\xbf \r\n \n", FileFault.EMPTY, "empty"),
    "blank head row": ("home_log.csv", lambda: b",,,\n1,2,3,4\n", FileFault.NO_HEAD, "row 1"),
    "a picture": (
        "home_log.csv",
        lambda: b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40,
        FileFault.BINARY,
        "not a spreadsheet or CSV file",
    ),
    "a PDF": (
        "home_log.csv",
        lambda: b"%PDF-1.7\n1 0 obj\n",
        FileFault.BINARY,
        "not a spreadsheet",
    ),
    "gzip cut off": (
        "home_log.csv",
        lambda: gzip.compress(GOOD.encode())[:-9],
        FileFault.BROKEN_ARCHIVE,
        "damaged or incomplete",
    ),
    "compressed in another way": (
        "home_log.csv",
        lambda: bz2.compress(GOOD.encode()),
        FileFault.COMPRESSED,
        "Unpack",
    ),
    "UTF-16 cut off": (
        "home_log.csv",
        lambda: GOOD.encode("utf-16")[:-1],
        FileFault.UTF_16,
        "UTF-16",
    ),
    "wrong encoding in the head": (
        "home_log.csv",
        lambda: "line_id,done_at,kind,größe\n".encode("latin-1"),
        FileFault.WRONG_ENCODING,
        "row 1 is not UTF-8",
    ),
    "wrong encoding far down": (
        "home_log.csv",
        lambda: GOOD.encode() + b"L1,2031-03-11,note\n" * 90_000 + b"L1,2031-03-11,n\xf6te\n",
        FileFault.WRONG_ENCODING,
        "row 90003 is not UTF-8",
    ),
    "heads missing": (
        "home_log.csv",
        lambda: b"line_id,when\nL1,2031-03-10\n",
        FileFault.HEADS_MISSING,
        "it has no done_at and kind. Add the headers",
    ),
    "another table's rows": (
        "home_log.csv",
        lambda: LINES.replace("north", "east").encode(),
        FileFault.HEADS_MISSING,
        "its headers look like lines",
    ),
    "no head row at all": (
        "home_log.csv",
        lambda: b"L1,2031-03-10,note\nL1,2031-03-11,note\n",
        FileFault.HEADS_MISSING,
        "line_id, done_at and kind",
    ),
    "heads twice": (
        "home_log.csv",
        lambda: b"line_id,done_at,kind,Line ID\nL1,2031-03-10,note,L1\n",
        FileFault.HEADS_TWICE,
        '"line_id" and "Line ID" are both the column line_id',
    ),
    "unknown heads twice": (
        "home_log.csv",
        lambda: b"line_id,done_at,kind,Mood,mood\nL1,2031-03-10,note,a,b\n",
        FileFault.HEADS_TWICE,
        '"Mood" and "mood"',
    ),
    "no table": ("diary.csv", lambda: b"a,b\n1,2\n", FileFault.TABLE_UNKNOWN, "use --table"),
    "a quotation mark left open": (
        "home_log.csv",
        lambda: GOOD.encode() + b'L1,2031-03-11,"note\nL1,2031-03-12,note\n',
        FileFault.QUOTE,
        "row 3: a quotation mark",
    ),
    "a quotation mark left open before others": (
        "home_log.csv",
        lambda: GOOD.encode() + b'L1,2031-03-11,"note\nL1,"2031-03-12",note\n',
        FileFault.QUOTE,
        "row 3: a quotation mark",
    ),
    "text behind a quoted cell": (
        "home_log.csv",
        lambda: GOOD.encode() + b'L1,2031-03-11,"note" x\n',
        FileFault.QUOTE,
        "row 3: a quotation mark",
    ),
    "an old workbook": (
        "home_log.xls",
        lambda: OLE + bytes(4000),
        FileFault.BINARY,
        "not a spreadsheet",
    ),
    "a protected workbook": (
        "home_log.xlsx",
        lambda: OLE + bytes(4000) + "EncryptedPackage".encode("utf-16-le"),
        FileFault.PASSWORD,
        "password",
    ),
    "a workbook cut off": (
        "home_log.xlsx",
        lambda: log_book()[:-300],
        FileFault.BROKEN_WORKBOOK,
        "damaged or incomplete",
    ),
    "a workbook with a broken sheet": (
        "home_log.xlsx",
        lambda: with_member(log_book(), "xl/worksheets/sheet1.xml", b"<worksheet><she"),
        FileFault.BROKEN_WORKBOOK,
        "damaged or incomplete",
    ),
    "text called a workbook": (
        "home_log.xlsx",
        lambda: b"line_id,done_at,kind\n",
        FileFault.BROKEN_WORKBOOK,
        "no zip archive",
    ),
    "a workbook without cells": (
        "home_log.xlsx",
        lambda: workbook(home_log=[]),
        FileFault.EMPTY,
        "empty",
    ),
    "a workbook without a table": (
        "book.xlsx",
        lambda: workbook(Legend=[["a", "b"]], Other=[["c"]]),
        FileFault.TABLE_UNKNOWN,
        "use --table",
    ),
    "a workbook that unpacks without end": (
        "home_log.xlsx",
        zip_bomb,
        FileFault.UNPACKS_TOO_LARGE,
        "it would unpack to 2,000 MB",
    ),
    "a workbook that lies about its size": (
        "home_log.xlsx",
        lying_zip,
        FileFault.BROKEN_WORKBOOK,
        "damaged or incomplete",
    ),
    "a workbook with a cell far out": (
        "home_log.xlsx",
        lambda: with_member(
            log_book(),
            "xl/worksheets/sheet1.xml",
            sheet_xml(
                '<row r="1"><c r="A1"><v>1</v></c></row>'
                '<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
            ),
        ),
        FileFault.SHEET_TOO_LARGE,
        "spans 1,048,576 rows by 16,384 columns",
    ),
    "a workbook with entities": (
        "home_log.xlsx",
        lambda: with_member(
            log_book(),
            "xl/worksheets/sheet1.xml",
            b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">]><worksheet><sheetData><row r="1">'
            b'<c r="A1" t="str"><v>&a;</v></c></row></sheetData></worksheet>',
        ),
        FileFault.BROKEN_WORKBOOK,
        "entities",
    ),
    "an archive": (
        "home_log.zip.csv",
        lambda: with_member(zip_of("readme.txt"), "", b""),
        FileFault.TABLE_UNKNOWN,
        "Name it after",
    ),
    "Parquet cut off": (
        "home_log.parquet",
        lambda: parquet(LOG_COLUMNS)[:-20],
        FileFault.BROKEN_PARQUET,
        "damaged or incomplete",
    ),
    "Parquet with broken pages": (
        "home_log.parquet",
        lambda: parquet(LOG_COLUMNS)[:4] + b"\xff" * 40 + parquet(LOG_COLUMNS)[44:],
        FileFault.BROKEN_PARQUET,
        "damaged or incomplete",
    ),
    "text called Parquet": (
        "home_log.parquet",
        lambda: b"line_id,done_at,kind\n",
        FileFault.BROKEN_PARQUET,
        "does not start as one",
    ),
    "Parquet with a column of structures": (
        "home_log.parquet",
        lambda: parquet({**LOG_COLUMNS, "note": [{"a": 1}]}),
        FileFault.COLUMN_TYPE,
        'the column "note" holds struct',
    ),
}


def zip_of(name: str) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        archive.writestr(name, "hello")
    return buffer.getvalue()


@pytest.mark.parametrize("case", list(BAD_FILES))
def test_a_file_that_cannot_be_used_gives_one_sentence_and_the_others_go_in(
    programme: Store, tmp_path: Path, case: str
) -> None:
    name, content, code, words = BAD_FILES[case]
    bad = tmp_path / "bad"
    bad.mkdir()
    written(bad, name, content())
    summary = take_in(programme, bad / name, written(tmp_path, "home_log-good.csv", GOOD))
    (fault,) = summary.faults
    assert fault.code is code
    assert str(fault).startswith(f"{name}")
    assert words in str(fault)
    assert "\n" not in str(fault)
    assert str(fault).endswith(".")
    assert [c.file for c in summary.tables] == ["home_log-good.csv"]
    assert len(programme.records().home_log) == 1
    assert set(programme.ingests()["file"]) & {name} == set()


def test_a_path_that_is_not_there_and_an_empty_folder_give_a_sentence(
    store: Store, tmp_path: Path
) -> None:
    empty = tmp_path / "lines.csv"  # a folder in place of a file
    empty.mkdir()
    summary = take_in(store, tmp_path / "nowhere.csv", empty)
    assert [fault.code for fault in summary.faults] == [
        FileFault.NOT_FOUND,
        FileFault.NOTHING_IN_FOLDER,
    ]
    assert (summary.read, summary.tables) == (0, ())


def test_a_file_that_may_not_be_read_gives_a_sentence(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "lines.csv", LINES)
    opened = Path.open

    def locked(self: Path, *mode: str, **more: object) -> object:
        if self == path:
            raise PermissionError(13, "Permission denied")
        return opened(self, *mode, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", locked)  # root may read any file: no mode would do
    (fault,) = take_in(store, path).faults
    assert fault.code is FileFault.NOT_ALLOWED


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(store: Store, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "lines.csv")
    (fault,) = take_in(store, tmp_path / "lines.csv").faults
    assert fault.code is FileFault.UNREADABLE


def test_a_file_that_changes_while_it_is_read_does_not_go_in(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, "lines.csv", LINES)
    opened = file_run.open_file

    def changed(*given: object) -> object:
        parts = opened(*given)  # type: ignore[arg-type]
        with path.open("a") as stream:
            stream.write("L6,C6,F6,north,picc,2031-01-10,2031-01-20,,,gauze\n")
        return parts

    monkeypatch.setattr(file_run, "open_file", changed)
    (fault,) = take_in(store, path).faults
    assert fault.code is FileFault.CHANGED_MEANWHILE
    assert store.records().lines.empty


def test_a_table_that_does_not_exist_is_told_before_anything_is_read(
    store: Store, tmp_path: Path
) -> None:
    with pytest.raises(IngestError, match="home_log"):
        ingest(store, written(tmp_path, "lines.csv", LINES), POLICY, table="logs")


def test_the_wrong_table_for_a_file_is_told_by_its_missing_heads(
    store: Store, tmp_path: Path
) -> None:
    (fault,) = take_in(store, written(tmp_path, "lines.csv", LINES), table="stays").faults
    assert "read as stays, it has no from_on" in str(fault)
    assert "its headers look like lines" in str(fault)


def test_a_head_without_rows_is_remarked_on(store: Store, tmp_path: Path) -> None:
    summary = take_in(store, written(tmp_path, "lines.csv", LINES.splitlines()[0]))
    assert (summary.faults, summary.read) == ((), 0)
    assert summary.notes == ("lines.csv: a header row of lines and no other row.",)


def test_a_workbook_with_one_bad_sheet_goes_in_not_at_all(store: Store, tmp_path: Path) -> None:
    book = workbook(
        lines=[row.split(",") for row in LINES.splitlines()], home_log=[["line_id"], ["L1"]]
    )
    (fault,) = take_in(store, written(tmp_path, "book.xlsx", book)).faults
    assert 'book.xlsx sheet "home_log": read as home_log, it has no done_at and kind' in str(fault)
    assert store.records().lines.empty


def test_a_fault_found_late_takes_back_what_was_stored_of_the_file(
    programme: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analysis.ingest.csv_file.BATCH_BYTES", 64)
    text = GOOD + "L1,2031-03-11,note\n" * 50 + 'L1,2031-03-12,"note\n'
    (fault,) = take_in(programme, written(tmp_path, "home_log.csv", text)).faults
    assert "row 53" in str(fault)
    assert programme.records().home_log.empty
    assert programme.refused().empty


def test_null_bytes_refuse_their_row_only(programme: Store, tmp_path: Path) -> None:
    text = GOOD + "L1,2031-03-\x0011,note\n" + "L1,2031-03-12,note\n" * 9
    assert take_in(programme, written(tmp_path, "home_log.csv", text)).refused == 1
    assert refusals(programme) == [(3, "done_at", "control_character")]


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no way to see the peak memory")
@pytest.mark.parametrize("shape", ["one cell", "many cells", "quoted", "head"])
def test_a_row_of_200_megabytes_is_refused_within_little_memory(tmp_path: Path, shape: str) -> None:
    path = tmp_path / "home_log.csv"
    with path.open("wb") as stream:
        stream.write(GOOD.encode() if shape != "head" else b"line_id,")
        stream.write(b'L1,2031-03-11,"' if shape == "quoted" else b"L1,2031-03-11,")
        block = {"many cells": b"x," * 500_000, "quoted": b"xxxxxxxx\n" * 111_111}
        for _ in range(200):
            stream.write(block.get(shape, b"x" * 1_000_000))
        stream.write(b"\nL1,2031-03-12,note\n")
    script = """
        import sys
        from pathlib import Path
        from analysis.ingest import ingest
        from analysis.policy import shipped_policy
        from analysis.store import Store

        def peak():
            status = Path("/proc/self/status").read_text().splitlines()
            return int(next(line for line in status if line.startswith("VmHWM")).split()[1]) // 1000

        with Store.open("sqlite:///" + sys.argv[1]) as store:
            ingest(store, Path(sys.argv[2]), shipped_policy())
            before = peak()
            summary = ingest(store, Path(sys.argv[3]), shipped_policy())
        print([f.code.value for f in summary.faults], summary.read, peak() - before)
    """
    first = written(tmp_path, "lines.csv", LINES)
    Store.open(f"sqlite:///{tmp_path}/s.sqlite").close()
    ran = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script), tmp_path / "s.sqlite", first, path],
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.stdout.startswith("['row_too_long'] 0 "), ran.stderr[-2000:]
    assert int(ran.stdout.split()[-1]) < 100  # megabytes, half the file
