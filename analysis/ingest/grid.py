"""What do the first rows of a file look like, before anything is known about it?"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from python_calamine import CalamineSheet

from analysis.ingest.csv_file import SEPARATORS
from analysis.ingest.faults import IngestError
from analysis.ingest.parquet_file import first_rows
from analysis.ingest.profile import ENCODINGS
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault
from analysis.ingest.sources import Format, format_of
from analysis.ingest.workbook_file import cell_text, filled_sheets

MOST_ROWS = 400
"""Rows of a sheet from which a profile is proposed."""
_BYTES = 1_000_000


@dataclass(frozen=True)
class Grid:
    """The first rows of a sheet, or of a whole file: cells as text, blank ones empty.

    `encoding` and `separator` are those of a text file.
    """

    file: str
    sheet: str | None
    rows: Sequence[Sequence[str]]
    encoding: str = "utf-8"
    separator: str = ","


def grids(log: LogFile, most_rows: int = MOST_ROWS, encoding: str | None = None) -> list[Grid]:
    """Return the first rows of each filled sheet of a file, title rows included.

    Parameters
    ----------
    log : LogFile
        A text file, workbook or Parquet file.
    most_rows : int
        Most rows of each sheet.
    encoding : str, optional
        Of a text file; None: found from its bytes.

    Raises
    ------
    IngestError
        It cannot be read, or is none of these.
    """
    match format_of(log):
        case Format.WORKBOOK:
            return _of_workbook(log, most_rows)
        case Format.FHIR:
            raise IngestError(FileFault.FHIR_PROFILE, log.name)
        case Format.PARQUET:
            return [Grid(log.name, None, first_rows(log, most_rows))]
        case _:
            return [_of_text(log, most_rows, encoding)]


def _of_workbook(log: LogFile, most_rows: int) -> list[Grid]:
    _, filled = filled_sheets(log)
    return [Grid(log.name, sheet.name, _rows(sheet, most_rows)) for sheet in filled]


def _rows(sheet: CalamineSheet, most_rows: int) -> list[list[str]]:
    before = [""] * (sheet.start[1] if sheet.start is not None else 0)
    rows = islice(sheet.iter_rows(), most_rows)
    return [[*before, *((cell_text(cell) or "").strip() for cell in row)] for row in rows]


def _of_text(log: LogFile, most_rows: int, encoding: str | None) -> Grid:
    with log.path.open("rb") as stream:
        block = stream.read(_BYTES)
    if len(block) == _BYTES:
        block = block[: block.rfind(b"\n") + 1]
    encoding = encoding or _encoding(block)
    try:
        text = block.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeDecodeError:
        raise IngestError(
            FileFault.WRONG_ENCODING, log.name, row=1, encoding=encoding.upper()
        ) from None
    parsed = {separator: _parsed(text, separator, most_rows) for separator in SEPARATORS}
    separator = max(SEPARATORS, key=lambda one: _regular(parsed[one]))
    return Grid(log.name, None, parsed[separator], encoding, separator)


def _encoding(block: bytes) -> str:
    """UTF-8 if the bytes are that, else what spreadsheet programs of the West write."""
    for encoding in ENCODINGS:
        try:
            block.decode(encoding)
        except UnicodeDecodeError:
            continue
        return encoding
    return ENCODINGS[-1]


def _parsed(text: str, separator: str, most_rows: int) -> list[list[str]]:
    try:
        rows = islice(csv.reader(io.StringIO(text, newline=""), delimiter=separator), most_rows)
        return [[cell.strip() for cell in row] for row in rows]
    except csv.Error:
        return []


def _regular(rows: Sequence[Sequence[str]]) -> int:
    """How many cells lie in rows of the most frequent width of more than one."""
    widths = Counter(len(row) for row in rows if len(row) > 1)
    return max((width * n for width, n in widths.items()), default=0)
