"""Is it safe to open an XLS or XLSB workbook, and which of its cells does the reader not show?

As in `workbook_scan`: errors of formulas are blank to the reader, and texts that many cells share
are as many texts to it.

*Source* of the records of XLSB: Microsoft, [MS-XLSB], 2.1.4 and 2.3: a record is its type and its
size, seven bits a byte, and its bytes; a cell begins with its column.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator, Mapping
from typing import Any

from analysis.ingest.faults import IngestError
from analysis.ingest.limits import SHEET_CELLS
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault, Refusal
from analysis.ingest.workbook_text import check_text
from analysis.ingest.workbook_xml import check_extent

OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""The first bytes of the container of XLS files, and of other old documents."""
_STREAMS = tuple(name.encode("utf-16-le") + b"\0\0" for name in ("Workbook", "Book"))

Cells = dict[tuple[int, int], tuple[str, Refusal]]

_EXTENT = 148
_ROW, _ERROR, _SHARED, _FORMULA_ERROR = 0, 3, 7, 11
_LEAST = {
    0: 4,
    1: 8,
    2: 12,
    3: 9,
    4: 9,
    5: 16,
    6: 12,
    7: 12,
    8: 12,
    9: 16,
    10: 9,
    11: 9,
    _EXTENT: 16,
}
"""Bytes of rows, of cells of each kind, and of the extent; of a shorter record the reader takes
bytes of the one before."""
_CELLS = range(1, 12)
_ERRORS = {0: "#NULL!", 7: "#DIV/0!", 15: "#VALUE!", 23: "#REF!", 29: "#NAME?", 36: "#NUM!"}
_NO_VALUE = "#N/A"


def is_xls(content: bytes) -> bool:
    """Whether an old document is a workbook."""
    return any(name in content for name in _STREAMS)


def scan_xls(log: LogFile) -> Mapping[str, Cells]:
    """Error cells of each sheet of an XLS workbook, read with xlrd.

    Raises
    ------
    IngestError
        It is damaged, has a password, or holds too much text.
    """
    import xlrd  # only for these files
    from xlrd.compdoc import CompDoc

    found: dict[str, Cells] = {}
    try:
        content = log.path.read_bytes()
        # Counts of sectors in the head; the reader allocates memory for as many as they claim.
        counts = [struct.unpack_from("<I", content, at)[0] for at in (40, 44, 64, 72)]
        if 512 * max(counts) > len(content) + 512:
            raise ValueError("it claims to hold more sectors than it does")
        document = CompDoc(content, logfile=io.StringIO())
        _check_chains(document)
        _check_claims(document)
        book = xlrd.open_workbook(str(log.path), logfile=io.StringIO(), ragged_rows=True)
        text = 0
        for sheet in book.sheets():
            cells: Cells = {}
            for row in range(sheet.nrows):
                for column, (kind, value) in enumerate(
                    zip(sheet.row_types(row), sheet.row_values(row), strict=True)
                ):
                    if kind == xlrd.XL_CELL_ERROR:
                        shown = _ERRORS.get(int(value), _NO_VALUE)
                        cells[row, column] = (shown, Refusal.ERROR_CELL)
                    elif kind == xlrd.XL_CELL_TEXT:
                        text += len(value)
            check_text(text, sheet.name, log.name)
            check_extent(sheet.nrows, sheet.ncols, sheet.name, log.name)
            found[sheet.name] = cells
    except IngestError:
        raise
    except Exception as fault:  # the reader meets damage with errors of any kind
        if "encrypted" in str(fault):
            raise IngestError(FileFault.PASSWORD, log.name) from None
        why = str(fault)[:80] or type(fault).__name__
        raise IngestError(FileFault.BROKEN_WORKBOOK, log.name, why=why) from None
    return found


def _check_chains(document: Any) -> None:
    """Refuse a container whose small streams turn in a circle: the reader would follow it on."""
    chain = document.SSAT
    for node in document.dirlist:
        at, steps = node.first_SID, 0
        while node.tot_size < document.min_size_std_stream and 0 <= at < len(chain):
            at, steps = chain[at], steps + 1
            if steps > len(chain):
                raise ValueError("its table of sectors turns in a circle")


def _check_claims(document: Any) -> None:
    """Refuse a stream of records that claims more texts or cells than a file of its size can hold.

    *Source:* Microsoft, [MS-XLS], 2.4.265 (SST) and 2.4.90 (Dimensions).
    """
    for name in ("Workbook", "Book"):
        content, base, size = document.locate_named_stream(name)
        at, end = base, base + size
        while content and at + 4 <= end:
            kind, length = struct.unpack_from("<HH", content, at)
            if kind == 0xFC and length >= 8:
                (texts,) = struct.unpack_from("<I", content, at + 8)
                if 3 * texts > size:  # each takes at least three bytes
                    raise ValueError("it claims to hold more texts than it does")
            elif kind == 0x200 and length >= 12:
                top, rows, left, columns = struct.unpack_from("<IIHH", content, at + 4)
                if top > rows or rows > 65_536 or left > columns or columns > 256:
                    raise ValueError("a cell in it lies outside the sheet")
            at += 4 + length


def scan_xlsb_sheet(content: bytes, shared: list[int]) -> tuple[Cells, int]:
    """Error cells of a sheet of an XLSB workbook, and the length of its texts.

    `shared` are the lengths of the texts that the workbook shares.
    """
    cells: Cells = {}
    row = text = 0
    for kind, data in _records(content):
        if len(data) < _LEAST.get(kind, 0):
            raise ValueError("a record in it is too short")
        if kind == _EXTENT:
            first, last, left, right = struct.unpack_from("<4I", data)
            _check_place(max(first, last), max(left, right))
        if kind == _ROW:
            (row,) = struct.unpack_from("<I", data)
        elif kind in _CELLS:
            (column,) = struct.unpack_from("<I", data)
            _check_place(row, column)
            if kind in {_ERROR, _FORMULA_ERROR}:
                cells[row, column] = (_ERRORS.get(data[8], _NO_VALUE), Refusal.ERROR_CELL)
            elif kind == _SHARED:
                (at,) = struct.unpack_from("<I", data, 8)
                if at >= len(shared):
                    raise ValueError("a cell names a text that is not there")
                text += shared[at]
    return cells, text


def shared_lengths(content: bytes) -> list[int]:
    """Lengths of the shared texts of an XLSB workbook, in characters (record type 19).

    Raises
    ------
    ValueError
        It claims to hold more texts than it does; the reader would allocate memory for all.
    """
    lengths: list[int] = []
    claimed = 0
    for kind, data in _records(content):
        if kind == 19 and len(data) >= 5:
            lengths.append(struct.unpack_from("<I", data, 1)[0])
        elif kind == 159 and len(data) >= 8:
            claimed = struct.unpack_from("<I", data, 4)[0]
    if claimed > len(lengths):
        raise ValueError("it claims to hold more texts than it does")
    return lengths


def _check_place(row: int, column: int) -> None:
    """Refuse a cell outside any sheet: the reader allocates memory for all before it."""
    if row >= 1_048_576 or column >= 16_384 or (row + 1) * (column + 1) > SHEET_CELLS:
        raise ValueError("a cell in it lies outside the sheet")


def sheet_names(content: bytes) -> list[tuple[str, str]]:
    """Key and name of each sheet of an XLSB workbook (record type 156)."""
    found = []
    for kind, data in _records(content):
        if kind == 156 and len(data) >= 12:
            key, at = _text(data, 8)
            name, _ = _text(data, at)
            found.append((key, name))
    return found


def _text(data: bytes, at: int) -> tuple[str, int]:
    """A text with its length in front, and where it ends."""
    (length,) = struct.unpack_from("<I", data, at)
    end = at + 4 + 2 * length
    return data[at + 4 : end].decode("utf-16-le"), end


def _records(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Records of a part: type and bytes; a part that is cut off ends early."""
    at, end = 0, len(content)
    while at < end:
        kind, at = _number(content, at, 2)
        size, at = _number(content, at, 4)
        if at + size > end:
            raise ValueError("it ends within a record")
        yield kind, content[at : at + size]
        at += size


def _number(content: bytes, at: int, most: int) -> tuple[int, int]:
    """A number of seven bits a byte, and where it ends."""
    number = 0
    for step in range(most):
        if at >= len(content):
            raise ValueError("it ends within a record")
        byte = content[at]
        at += 1
        number |= (byte & 0x7F) << (7 * step)
        if byte < 0x80:
            break
    return number, at
