"""How are the rows of a text file read, and numbered as a person counts them?

The file is cut at row ends into pieces of bounded size, and pyarrow parses each piece. Only
where quotation marks are in places that the CSV rules (RFC 4180) do not allow, Python's
own slower reader is used.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import BinaryIO, NoReturn

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from analysis.ingest.faults import IngestError
from analysis.ingest.heads import (
    alike,
    joined_heads,
    match_heads,
    table_of_header,
    table_of_profile_heads,
    table_of_sheet,
)
from analysis.ingest.limits import BATCH_BYTES, ROW_BYTES
from analysis.ingest.profile import Profile, TableProfile
from analysis.ingest.raw import LogFile, Part, Raw, ragged_row, raw_rows, text_columns
from analysis.ingest.reasons import FileFault
from analysis.tables.incoming import INCOMING

SEPARATORS = (",", ";", "\t", "|")

_BOM = codecs.BOM_UTF8
_HEAD_BYTES = 1_000_000
_SLOW_ROWS = 20_000
_QUOTE = ord('"')

csv.field_size_limit(ROW_BYTES)


@dataclass(frozen=True)
class _Layout:
    """Where the rows start, how they are separated, how many columns they have."""

    path: Path
    file: str
    encoding: str
    separator: str
    newline: bytes
    width: int
    first_byte: int
    rows_above: int


def csv_part(log: LogFile, profile: Profile, table: str | None) -> Part:
    """Open a CSV file.

    Parameters
    ----------
    log : LogFile
        The file.
    profile : Profile
        Gives encoding, rows above the header and headers.
    table : str or None
        Its table; None: found from the name or the header row.

    Returns
    -------
    Part
        The file's rows in batches.

    Raises
    ------
    IngestError
        The table is unknown, heads are missing, the text is not of the encoding; while
        reading: a row without end, quotation marks that do not close.
    """
    file = log.name
    with log.path.open("rb") as stream:
        marked = stream.read(len(_BOM)) == _BOM
        first_byte = len(_BOM) if marked else 0
        stream.seek(first_byte)
        block = stream.read(_HEAD_BYTES)
    encoding = "utf-8" if marked else profile.encoding
    start = _Start(file, _decoded(block, encoding, file), len(block) == _HEAD_BYTES)
    if table is None:
        table = _table(start, log.stem, profile)
    looks = profile.table(table)
    head, separator, used = _head(start, looks, profile)
    if not any(head):
        raise IngestError(FileFault.NO_HEAD, file, row=looks.skip_rows + 1)
    heads = match_heads(head, table, profile, file)
    layout = _Layout(
        log.path,
        file,
        encoding,
        separator,
        b"\r" if "\r" in used and "\n" not in used else b"\n",
        heads.width,
        first_byte + len(used.encode(encoding)),
        looks.skip_rows + looks.head_rows,
    )
    return Part(file, None, table, heads, lambda: _batches(layout))


@dataclass(frozen=True)
class _Start:
    """The first text of a file, and whether more follows."""

    file: str
    text: str
    cut: bool


def _decoded(block: bytes, encoding: str, file: str) -> str:
    try:
        return codecs.getincrementaldecoder(encoding)().decode(block)
    except UnicodeDecodeError as fault:
        row = block[: fault.start].count(b"\n") + 1
        raise IngestError(
            FileFault.WRONG_ENCODING, file, row=row, encoding=encoding.upper()
        ) from None


def _table(start: _Start, stem: str, profile: Profile) -> str:
    """The table found from the name or the header row, also below other rows."""
    recorded = table_of_header(lambda looks: _head(start, looks, profile)[0], profile)
    if recorded is not None:
        return recorded
    head, _, _ = _head(start, TableProfile(), profile)
    table = table_of_sheet([stem], head, profile, start.file) or table_of_profile_heads(
        lambda looks: _head(start, looks, profile)[0], profile
    )
    if table is None:
        raise IngestError(FileFault.TABLE_UNKNOWN, start.file)
    return table


def _head(start: _Start, looks: TableProfile, profile: Profile) -> tuple[list[str], str, str]:
    """Head cells, separator and the text up to the first row under the head.

    The separator is the one that gives most heads known to us or to the profile.
    """
    known = {alike(c.name) for entry in INCOMING.values() for c in entry.columns}
    known |= {alike(h) for table in profile.tables.values() for h in table.heads}
    best: tuple[tuple[int, int], list[str], str, str] = ((-1, 0), [], SEPARATORS[0], "")
    for separator in SEPARATORS:
        lines = _Counted(start.text)
        reader = csv.reader(lines, delimiter=separator)
        try:
            rows = list(islice(reader, looks.skip_rows + looks.head_rows))
        except csv.Error:
            raise IngestError(FileFault.QUOTE, start.file, row=looks.skip_rows + 1) from None
        if start.cut and lines.used == len(start.text):
            raise IngestError(FileFault.ROW_TOO_LONG, start.file, row=max(len(rows), 1))
        cells = joined_heads(rows[looks.skip_rows :])
        score = (sum(alike(c) in known for c in cells), len(cells))
        if score > best[0]:
            best = (score, cells, separator, start.text[: lines.used])
    return best[1], best[2], best[3]


class _Counted(Iterator[str]):
    """Lines of a text, and how many of its characters were handed out."""

    def __init__(self, text: str) -> None:
        self._lines = io.StringIO(text, newline="")
        self.used = 0

    def __next__(self) -> str:
        line = next(self._lines)
        self.used += len(line)
        return line


def _batches(layout: _Layout) -> Iterator[Raw]:
    """Cut the file at row ends and parse piece by piece."""
    above = layout.rows_above
    done = layout.first_byte
    with layout.path.open("rb") as stream:
        stream.seek(done)
        rest = b""
        while True:
            block = stream.read(BATCH_BYTES)
            piece = rest + block
            if not piece:
                return
            end = _end_of_rows(piece, layout, last=not block)
            if end is None:
                yield from _slowly(layout, done, above)
                return
            rest = piece[end:]
            if len(rest) > ROW_BYTES or (not block and rest):
                above += _count_rows(piece[:end], layout)
                fault = FileFault.QUOTE if not block else FileFault.ROW_TOO_LONG
                raise IngestError(fault, layout.file, row=above + 1)
            if end:
                raw, rows = _parsed(piece[:end], layout, above)
                above += rows
                done += end
                yield raw
            if not block:
                return


def _end_of_rows(piece: bytes, layout: _Layout, *, last: bool) -> int | None:
    """Bytes up to the end of the last whole row; None: quotation marks out of place."""
    if b'"' not in piece:
        return len(piece) if last else piece.rfind(layout.newline) + 1
    text = np.frombuffer(piece, np.uint8)
    quotes = np.flatnonzero(text == _QUOTE)
    opening, closing = quotes[::2], quotes[1::2]
    around = np.array([ord(layout.separator), 10, 13], np.uint8)
    doubled = np.zeros(len(opening), np.bool_)
    doubled[1:] = opening[1:] == closing[: len(opening) - 1] + 1
    starts_cell = (opening == 0) | np.isin(text[opening - 1], around)
    following = np.minimum(closing + 1, len(text) - 1)
    ends_cell = (closing == len(text) - 1) | np.isin(text[following], [*around, _QUOTE])
    if not (starts_cell | doubled).all() or not ends_cell.all():
        return None
    if last and len(quotes) % 2 == 0:
        return len(piece)
    end = len(piece)
    while (end := piece.rfind(layout.newline, 0, end)) >= 0:
        before = int(np.searchsorted(quotes, end))
        if before % 2 == 0:
            return end + 1
        end = int(quotes[before - 1])  # inside a quoted cell: on to where it opens
    return 0


def _parsed(piece: bytes, layout: _Layout, above: int) -> tuple[Raw, int]:
    """Rows of a piece, and how many rows a person would count in it."""
    size = len(piece)
    if layout.encoding != "utf-8":
        piece = _utf8(piece, layout, above)
    ragged: list[pacsv.InvalidRow] = []
    table = _read_csv(piece, layout, above, ragged, threads=True)
    if ragged:  # only a single thread reports the row's number
        ragged.clear()
        table = _read_csv(piece, layout, above, ragged, threads=False)
    columns = [c.combine_chunks() if c.num_chunks != 1 else c.chunk(0) for c in table.itercolumns()]
    rows = table.num_rows + len(ragged)
    numbers = np.arange(rows, dtype=np.int64)
    if not ragged:
        return raw_rows(above + 1 + numbers, dict(enumerate(columns)), (), size), rows
    odd = np.array([row.number - 1 for row in ragged], np.int64)
    cells = [_cells(row.text, layout.separator) for row in ragged]
    extra = text_columns([_fitted(c, layout.width) for c in cells], layout.width)
    order = np.argsort(np.concatenate([np.delete(numbers, odd), odd]), kind="stable")
    merged = {
        at: pa.concat_arrays([column, extra[at]]).take(pa.array(order))
        for at, column in enumerate(columns)
    }
    broken = [
        b
        for row, given in zip(odd, cells, strict=True)
        if (b := ragged_row(int(row), given, layout.width)) is not None
    ]
    return raw_rows(above + 1 + numbers, merged, broken, size), rows


def _read_csv(
    piece: bytes, layout: _Layout, above: int, ragged: list[pacsv.InvalidRow], *, threads: bool
) -> pa.Table:
    names = [str(at) for at in range(layout.width)]

    def skip(row: pacsv.InvalidRow) -> str:
        ragged.append(row)
        return "skip"

    try:
        return pacsv.read_csv(
            pa.BufferReader(piece),
            read_options=pacsv.ReadOptions(
                use_threads=threads, block_size=len(piece) + 1, column_names=names
            ),
            parse_options=pacsv.ParseOptions(
                delimiter=layout.separator,
                newlines_in_values=True,
                ignore_empty_lines=False,
                invalid_row_handler=skip,
            ),
            convert_options=pacsv.ConvertOptions(
                column_types=dict.fromkeys(names, pa.string()),
                null_values=[""],
                strings_can_be_null=True,
            ),
        )
    except pa.ArrowInvalid as fault:
        _utf8(piece, layout, above)
        raise IngestError(FileFault.UNREADABLE, layout.file, why=str(fault)) from None


def _utf8(piece: bytes, layout: _Layout, above: int) -> bytes:
    """The piece as UTF-8, or the row in which it is not of its encoding."""
    try:
        return piece.decode(layout.encoding).encode()
    except UnicodeDecodeError as fault:
        before = piece[: fault.start]
        row = above + _count_rows(before, layout) + (not before or before.endswith((b"\n", b"\r")))
        raise IngestError(
            FileFault.WRONG_ENCODING, layout.file, row=row, encoding=layout.encoding.upper()
        ) from None


def _count_rows(piece: bytes, layout: _Layout) -> int:
    """How many rows a person would count in a piece, a cut-off last one included."""
    if b'"' not in piece:
        newline = layout.newline
        return piece.count(newline) + (bool(piece) and not piece.endswith(newline))
    lines = io.TextIOWrapper(io.BytesIO(piece), "latin-1", newline="")
    return sum(1 for _ in csv.reader(lines, delimiter=layout.separator))


def _cells(text: str, separator: str) -> list[str]:
    return next(csv.reader(io.StringIO(text, newline=""), delimiter=separator), [])


def _fitted(cells: Sequence[str], width: int) -> list[str]:
    return [*cells[:width], *[""] * (width - len(cells))]


def _slowly(layout: _Layout, first_byte: int, above: int) -> Iterator[Raw]:
    """Read the rest with Python's reader, which finds where quotation marks go wrong."""
    with layout.path.open("rb") as stream:
        stream.seek(first_byte)
        rows: list[list[str]] = []
        done = 0
        lines = _Lines(stream, layout, above)
        reader = csv.reader(lines, delimiter=layout.separator, strict=True)
        while True:
            try:
                row = next(reader, None)
            except csv.Error:
                lines.fail(FileFault.QUOTE, above + len(rows) + 1)
            except UnicodeDecodeError:
                lines.fail(FileFault.WRONG_ENCODING, above + len(rows) + 1)
            if row is not None:
                rows.append(row)
            if rows and (row is None or len(rows) == _SLOW_ROWS):
                yield _slow_rows(rows, layout, above, lines.used - done)
                above += len(rows)
                done = lines.used
                rows = []
            if row is None:
                return


class _Lines(Iterator[str]):
    """Lines of a stream of bounded length, decoded one by one."""

    def __init__(self, stream: BinaryIO, layout: _Layout, above: int) -> None:
        self._stream = stream
        self._layout = layout
        self._above = above
        self.used = 0

    def __next__(self) -> str:
        line = self._stream.readline(ROW_BYTES)
        if not line:
            raise StopIteration
        self._above += 1
        if len(line) >= ROW_BYTES and not line.endswith(b"\n"):
            self.fail(FileFault.ROW_TOO_LONG, self._above)
        self.used += len(line)
        return line.decode(self._layout.encoding)

    def fail(self, code: FileFault, row: int) -> NoReturn:
        """Give the file up at a row."""
        raise IngestError(
            code, self._layout.file, row=row, encoding=self._layout.encoding.upper()
        ) from None


def _slow_rows(rows: list[list[str]], layout: _Layout, above: int, size: int) -> Raw:
    broken = [
        b
        for at, row in enumerate(rows)
        if row and (b := ragged_row(at, row, layout.width)) is not None
    ]
    cells = text_columns([_fitted(row, layout.width) for row in rows], layout.width)
    numbers = above + 1 + np.arange(len(rows), dtype=np.int64)
    return raw_rows(numbers, cells, broken, size)
