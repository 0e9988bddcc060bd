"""The same three entries as 40 files, in the shapes in which clinics send them.

Each is written by the program or library that is named; files in `tests/shapes` were saved by
LibreOffice 7.4. `SHAPES` has how each is made and the answers to the questions that it raises.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import shutil
import struct
import zipfile
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import xlsxwriter
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

SAVED = Path(__file__).parent / "shapes"
HEAD = ["Line no", "Date", "What was done", "Dressing was", "Skin"]
ENTRIES = [
    ("L1", datetime(2031, 3, 25, 9, 5), "Dressing changed", "came off", "red, itchy"),  # noqa: DTZ001
    ("L3", datetime(2031, 3, 4, 18, 30), "Skin looked at", "", "nothing"),  # noqa: DTZ001
    ("L1", datetime(2031, 3, 13, 7, 15), "flushed", "", ""),  # noqa: DTZ001
]
READ = [
    ("L1", "2031-03-13 07:15", "flush", "", ""),
    ("L1", "2031-03-25 09:05", "dressing_change", "loose", "itch;redness"),
    ("L3", "2031-03-04 18:30", "skin_check", "", "none"),
]
"""What every file holds: line, moment, kind, condition, findings."""
ISO = "%Y-%m-%d %H:%M"

Cells = Sequence[Sequence[object]]


def cells(written: str = ISO, split: str = ", ") -> list[list[str]]:
    """Head and rows, with the moment written in a style and several findings split by a sign."""
    rows = [
        [line, f"{at:{written}}", kind, was, skin.replace(", ", split)]
        for line, at, kind, was, skin in ENTRIES
    ]
    return [list(HEAD), *rows]


def typed() -> list[list[object]]:
    """Head and rows with moments as moments."""
    return [list(HEAD), *([line, at, *rest] for line, at, *rest in ENTRIES)]


def text(rows: Cells, separator: str = ",") -> str:
    """As Python's csv module writes it."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows(rows)
    return out.getvalue()


def plain(
    rows: Cells, separator: str = ",", encoding: str = "utf-8", name: str = "diary.csv"
) -> Callable[[Path], Path]:
    """A text file."""

    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(text(rows, separator).encode(encoding))
        return path

    return make


def with_serials() -> list[list[str]]:
    start = datetime(1899, 12, 30)  # noqa: DTZ001
    days = [f"{(at - start) / timedelta(days=1):.9f}" for _, at, *_ in ENTRIES]
    return [
        HEAD,
        *([line, day, *rest] for (line, _, *rest), day in zip(ENTRIES, days, strict=True)),
    ]


def two_columns() -> list[list[str]]:
    head = [HEAD[0], "Date", "Time", *HEAD[2:]]
    return [head, *([line, f"{at:%d/%m/%Y}", f"{at:%H:%M}", *r] for line, at, *r in ENTRIES)]


def clock_of_twelve() -> list[list[str]]:
    """Dates in the order of the United States and a 12-hour clock, as web forms export them."""
    return [
        HEAD,
        *([line, f"{at.month}/{at.day}/{at:%Y %I:%M %p}", *rest] for line, at, *rest in ENTRIES),
    ]


def ticks_of_findings() -> list[list[str]]:
    head = ["Catheter", "When done", "Type of entry", "Condition of dressing", "Redness", "Itching"]
    marks = [("Yes", "Yes"), ("No", "No"), ("", "")]
    return [
        head,
        *(
            [line, f"{at:{ISO}}", kind, was, *m]
            for (line, at, kind, was, _), m in zip(ENTRIES, marks, strict=True)
        ),
    ]


def ticks_of_condition() -> list[list[str]]:
    head = ["Line no", "Date", "What was done", "Skin", "Came off", "Moist"]
    marks = [("x", ""), ("", ""), ("", "")]
    return [
        head,
        *(
            [line, f"{at:{ISO}}", kind, skin, *m]
            for (line, at, kind, _, skin), m in zip(ENTRIES, marks, strict=True)
        ),
    ]


def ticks_of_kinds() -> list[list[str]]:
    """One submission reports several entries; here one of each, and a time that two share."""
    head = [
        "Line no",
        "Date",
        "Dressing changed",
        "Skin checked",
        "Flushed",
        "Dressing was",
        "Skin",
    ]
    marks = [("☑", "☐", "☐"), ("☐", "☑", "☐"), ("☐", "☐", "☑")]
    return [
        head,
        *(
            [line, f"{at:{ISO}}", *m, was, skin]
            for (line, at, _, was, skin), m in zip(ENTRIES, marks, strict=True)
        ),
    ]


def titled(rows: Cells) -> list[list[object]]:
    """Below a title and a blank row, above a total."""
    width = len(rows[0])
    blank = [""] * width
    return [["Diary of ward 3", *blank[1:]], blank, *map(list, rows), ["Total: 3", *blank[1:]]]


def merged() -> list[list[object]]:
    """Heads of two rows, the upper ones over several columns."""
    rows = typed()
    return [["Line", "", "Care", "", ""], ["no", "date", "done", "dressing was", "skin"], *rows[1:]]


def zipped(folder: Path) -> Path:
    with zipfile.ZipFile(path := folder / "diary.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("diary.csv", text(cells()))
    return path


def gzipped(folder: Path) -> Path:
    path = folder / "diary.csv.gz"
    path.write_bytes(gzip.compress(text(cells()).encode()))
    return path


def as_json(folder: Path) -> Path:
    head, *rows = cells()
    path = folder / "diary.json"
    path.write_text(json.dumps([dict(zip(head, row, strict=True)) for row in rows]))
    return path


def as_lines(folder: Path) -> Path:
    head, *rows = cells()
    frame = pd.DataFrame(rows, columns=head)
    frame.to_json(path := folder / "diary.ndjson", orient="records", lines=True)
    return path


def with_openpyxl(rows: Cells, *, merge: bool = False, epoch: datetime | None = None):
    def make(folder: Path) -> Path:
        book = openpyxl.Workbook()
        if epoch is not None:
            book.epoch = epoch
        sheet = book.active
        assert sheet is not None
        for row in rows:
            sheet.append([None if cell == "" else cell for cell in row])
        if merge:
            sheet.merge_cells("A1:B1")
            sheet.merge_cells("C1:E1")
        book.save(path := folder / "diary.xlsx")
        return path

    return make


def with_xlsxwriter(folder: Path) -> Path:
    book = xlsxwriter.Workbook(
        path := folder / "diary.xlsx", {"default_date_format": "dd/mm/yy hh:mm"}
    )
    sheet = book.add_worksheet("Sheet1")
    for at, row in enumerate(titled(typed())):
        sheet.write_row(at, 0, row)
    book.close()
    return path


def with_pandas(folder: Path) -> Path:
    head, *rows = typed()
    frame = pd.DataFrame(rows, columns=head)
    frame.to_excel(path := folder / "diary.xlsx", index=False, sheet_name="home diary")
    return path


def sheet_for_each_line(folder: Path) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for family, line in (("F1", "L1"), ("F2", "L3")):
        sheet = book.create_sheet(f"Family {family}")
        sheet.append(HEAD[1:])
        for row in typed()[1:]:
            if row[0] == line:
                sheet.append(row[1:])
    book.save(path := folder / "families.xlsx")
    return path


def with_odfpy(folder: Path) -> Path:
    book = OpenDocumentSpreadsheet()
    table = Table(name="diary")
    for row in cells():
        line = TableRow()
        for cell in row:
            filled = TableCell(valuetype="string")
            filled.addElement(P(text=cell))
            line.addElement(filled)
        table.addElement(line)
    book.spreadsheet.addElement(table)
    book.save(str(path := folder / "diary.ods"))
    return path


def with_pyarrow(folder: Path) -> Path:
    head, *rows = typed()
    columns = {name: [row[at] for row in rows] for at, name in enumerate(head)}
    pq.write_table(pa.table(columns), path := folder / "diary.parquet")
    return path


def parquet_of_pandas(folder: Path) -> Path:
    head, *rows = cells()
    pd.DataFrame(rows, columns=head).to_parquet(path := folder / "diary.parquet")
    return path


def saved(name: str) -> Callable[[Path], Path]:
    """A file that LibreOffice saved."""

    def make(folder: Path) -> Path:
        return Path(shutil.copy(SAVED / name, folder))

    return make


def xlsb(folder: Path) -> Path:
    """By hand, after [MS-XLSB]: the smallest workbook with one sheet of texts."""
    rows = cells()

    def record(kind: int, data: bytes) -> bytes:
        code = bytes([kind]) if kind < 128 else bytes([kind & 0x7F | 0x80, kind >> 7])
        size, sizes = len(data), b""
        while size >= 128:
            sizes += bytes([size & 0x7F | 0x80])
            size >>= 7
        return code + sizes + bytes([size]) + data

    def wide(text: str) -> bytes:
        return struct.pack("<I", len(text)) + text.encode("utf-16-le")

    sheet = record(129, b"") + record(148, struct.pack("<4I", 0, len(rows) - 1, 0, len(HEAD) - 1))
    sheet += record(145, b"")
    for at, row in enumerate(rows):
        sheet += record(0, struct.pack("<IIHBBBI", at, 0, 300, 0, 0, 0, 0))
        for column, cell in enumerate(row):
            if cell:
                sheet += record(6, struct.pack("<II", column, 0) + wide(cell))
    sheet += record(146, b"") + record(130, b"")
    book = record(131, b"") + record(143, b"")
    book += record(156, struct.pack("<II", 0, 1) + wide("rId1") + wide("diary"))
    book += record(144, b"") + record(132, b"")
    relation = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    target = '<Relationship Id="rId1" Type="{0}/{1}" Target="{2}"/>'
    relations = f'<Relationships xmlns="{package}/relationships">%s</Relationships>'
    types = f'<Types xmlns="{package}/content-types"><Default Extension="bin" ContentType="application/vnd.ms-excel.sheet.binary.macroEnabled.main"/><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/></Types>'
    with zipfile.ZipFile(path := folder / "diary.xlsb", "w") as archive:
        archive.writestr("[Content_Types].xml", types)
        whole = target.format(relation, "officeDocument", "xl/workbook.bin")
        archive.writestr("_rels/.rels", relations % whole)
        archive.writestr("xl/workbook.bin", book)
        one = target.format(relation, "worksheet", "worksheets/sheet1.bin")
        archive.writestr("xl/_rels/workbook.bin.rels", relations % one)
        archive.writestr("xl/worksheets/sheet1.bin", sheet)
    return path


def in_a_folder(folder: Path) -> Path:
    below = folder / "north" / "2031"
    below.mkdir(parents=True)
    plain(cells())(below)
    return folder / "north"


CONDITIONS = {
    "tick:Came off": "dressing_condition: loose",
    "tick:Moist": "dressing_condition: damp",
}
TWO_ROWS = {"column:line_id": "no", "column:kind": "done"}
NONE: Mapping[str, str] = {}

SHAPES: Mapping[str, tuple[Callable[[Path], Path], Mapping[str, str]]] = {
    "comma, UTF-8 (csv)": (plain(cells()), NONE),
    "comma, UTF-8 with mark (csv)": (plain(cells(), encoding="utf-8-sig"), NONE),
    "semicolon, Windows-1252 (csv)": (plain(cells(), ";", "cp1252"), NONE),
    "tab (csv)": (plain(cells(), "\t", name="diary.tsv"), NONE),
    "pipe (csv)": (plain(cells(), "|", name="diary.txt"), NONE),
    "UTF-16, tab (csv)": (plain(cells(), "\t", "utf-16", "diary.txt"), NONE),
    "gz (gzip)": (gzipped, NONE),
    "zip (zipfile)": (zipped, NONE),
    "list of JSON objects (json)": (as_json, NONE),
    "one JSON object a line (pandas)": (as_lines, NONE),
    "day/month/year (csv)": (plain(cells("%d/%m/%Y %H:%M")), NONE),
    "day.month.year, two digits (csv)": (plain(cells("%d.%m.%y %H:%M"), ";"), NONE),
    "month/day/year, 12-hour clock (csv)": (plain(clock_of_twelve()), NONE),
    "year/month/day (csv)": (plain(cells("%Y/%m/%d %H:%M")), NONE),
    "moments of ISO 8601 with T (csv)": (plain(cells("%Y-%m-%dT%H:%M:%S")), NONE),
    "day numbers of a spreadsheet (csv)": (plain(with_serials()), NONE),
    "date and time in two columns (csv)": (plain(two_columns()), NONE),
    "answers joined by ; (csv)": (plain(cells(split=";")), NONE),
    "answers joined by / (csv)": (plain(cells(split="/")), NONE),
    "answers joined by a line end (csv)": (plain(cells(split="\n")), NONE),
    "answers joined by + (csv)": (plain(cells(split=" + ")), NONE),
    "a column for each finding (csv)": (plain(ticks_of_findings()), NONE),
    "a column for each condition (csv)": (plain(ticks_of_condition()), CONDITIONS),
    "a column for each kind of entry (csv)": (plain(ticks_of_kinds()), NONE),
    "title and footer rows (csv)": (plain(titled(cells()), ";"), NONE),
    "heads of two rows (csv)": (
        plain([[f"{c:{ISO}}" if isinstance(c, datetime) else c for c in row] for row in merged()]),
        TWO_ROWS,
    ),
    "merged heads (openpyxl)": (with_openpyxl(merged(), merge=True), TWO_ROWS),
    "xlsx (openpyxl)": (with_openpyxl(typed()), NONE),
    "xlsx, texts only (openpyxl)": (with_openpyxl(cells("%d/%m/%Y %H:%M")), NONE),
    "xlsx, days from 1904 (openpyxl)": (
        with_openpyxl(typed(), epoch=datetime(1904, 1, 1)),  # noqa: DTZ001
        NONE,
    ),
    "xlsx with title and footer (xlsxwriter)": (with_xlsxwriter, NONE),
    "xlsx (pandas)": (with_pandas, NONE),
    "xlsx, a sheet for each family (openpyxl)": (sheet_for_each_line, NONE),
    "xlsx (LibreOffice)": (saved("diary.xlsx"), NONE),
    "xls (LibreOffice)": (saved("diary.xls"), NONE),
    "ods (LibreOffice)": (saved("diary.ods"), NONE),
    "ods (odfpy)": (with_odfpy, NONE),
    "xlsb (by hand)": (xlsb, NONE),
    "Parquet, typed (pyarrow)": (with_pyarrow, NONE),
    "Parquet, texts (pandas)": (parquet_of_pandas, NONE),
}
"""40 files: how each is made, and the answers to the questions that it raises."""
