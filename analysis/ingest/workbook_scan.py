"""Is it safe to open a workbook, and which of its cells does the reader not show?

The reader (calamine) gives a blank for the error of a formula (``#REF!``) and for a formula
whose result was not saved, and lays a sheet out in memory to its farthest cell. So every
sheet is first passed through here: unpacked piece by piece within a limit, measured, and
searched for such cells.
"""

from __future__ import annotations

import lzma
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from posixpath import dirname, join, normpath
from xml.parsers import expat

from analysis.ingest.faults import IngestError
from analysis.ingest.limits import SHEET_CELLS, UNPACKED_BYTES, UNPACKED_RATIO
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault, Refusal
from analysis.ingest.workbook_ods import scan_ods
from analysis.ingest.workbook_old import (
    OLE,
    scan_xls,
    scan_xlsb_sheet,
    shared_lengths,
    sheet_names,
)
from analysis.ingest.workbook_text import SharedTexts, check_text
from analysis.ingest.workbook_xml import (
    Hidden,
    check_extent,
    local,
    new_parser,
    parse,
    pieces,
)

_BLOCK = 1_000_000
_SMALL = 20_000_000
"""Unpacked size up to which the ratio does not matter."""

_REFERENCE = re.compile(r"([A-Z]+)([0-9]+)\Z")
_CELL = re.compile(rb' r="([A-Z]+)')
_ROW = re.compile(rb'<row [^>]*?\br="([0-9]+)"')
_NOT_PLAIN = (b"<f", b't="e"', b"<!", b":row", b":c", b"'")
"""Bytes of formulas, errors, and of ways of writing that the quick look does not foresee."""


_DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    expat.ExpatError,
    LookupError,
    ValueError,
    EOFError,
    OSError,
    OverflowError,
    struct.error,
)
"""What the standard library raises for a workbook that is damaged."""


def scan_workbook(log: LogFile) -> Mapping[str, Hidden]:
    """Measure a workbook and find its error cells and its formulas without a saved result.

    Parameters
    ----------
    log : LogFile
        An XLSX or ODS file.

    Returns
    -------
    mapping of sheet name to Hidden
        One entry a sheet.

    Raises
    ------
    IngestError
        Not a whole zip archive, no workbook in it, larger than the limits, protected.
    """
    file = log.name
    with log.path.open("rb") as stream:
        if stream.read(len(OLE)) == OLE:
            return {name: Hidden(cells) for name, cells in scan_xls(log).items()}
    try:
        with zipfile.ZipFile(log.path) as archive:
            _check_size(archive, log)
            names = set(archive.namelist())
            if "xl/workbook.xml" in names:
                return _scan_xlsx(archive, file)
            if "xl/workbook.bin" in names:
                return _scan_xlsb(archive, file)
            if "content.xml" in names:
                return scan_ods(archive, file)
    except _DAMAGE as fault:
        if isinstance(fault, PermissionError):
            raise
        raise IngestError(FileFault.BROKEN_WORKBOOK, file, why=_plain(fault)) from None
    except RuntimeError:  # an encrypted member, or a compression that zipfile does not know
        raise IngestError(FileFault.PASSWORD, file) from None
    raise IngestError(FileFault.ARCHIVE, file)


def _plain(fault: Exception) -> str:
    return str(fault).strip("'\"") or type(fault).__name__


def _check_size(archive: zipfile.ZipFile, log: LogFile) -> None:
    """Refuse by the sizes that the archive declares, before anything is unpacked."""
    unpacked = sum(member.file_size for member in archive.infolist())
    ratio = unpacked / max(log.path.stat().st_size, 1)
    if unpacked > UNPACKED_BYTES or (unpacked > _SMALL and ratio > UNPACKED_RATIO):
        raise IngestError(
            FileFault.UNPACKS_TOO_LARGE,
            log.name,
            size=f"{unpacked / 1e6:,.0f} MB",
            ratio=f"{ratio:,.0f}",
        )


def _scan_xlsx(archive: zipfile.ZipFile, file: str) -> Mapping[str, Hidden]:
    for member in archive.namelist():
        if not member.startswith("xl/worksheets/"):
            for _ in pieces(archive, member):
                pass
    shared = SharedTexts.of(archive)
    found, text = {}, 0
    for sheet, member in _xlsx_sheets(archive).items():
        scan = _XlsxSheet(sheet, file, shared)
        used = shared.used_in(pieces(archive, member))
        if used is None or not _is_plain(pieces(archive, member)):
            scan.read(pieces(archive, member))
            used = scan.used
        text += used
        check_text(text, sheet, file)
        found[sheet] = scan.hidden
    return found


def _scan_xlsb(archive: zipfile.ZipFile, file: str) -> Mapping[str, Hidden]:
    for member in archive.namelist():
        if not member.startswith("xl/worksheets/"):
            for _ in pieces(archive, member):
                pass
    texts = "xl/sharedStrings.bin"
    shared = shared_lengths(archive.read(texts)) if texts in archive.namelist() else []
    found, text = {}, 0
    for sheet, member in _xlsb_sheets(archive).items():
        cells, used = scan_xlsb_sheet(archive.read(member), shared)
        text += used
        check_text(text, sheet, file)
        found[sheet] = Hidden(cells)
    return found


def _xlsb_sheets(archive: zipfile.ZipFile) -> dict[str, str]:
    """Sheet names and the members that hold them."""
    relations = _relations(archive, "xl/_rels/workbook.bin.rels")
    return {
        name: normpath(join("xl", relations[key]))
        for key, name in sheet_names(archive.read("xl/workbook.bin"))
    }


def _is_plain(content: Iterator[bytes]) -> bool:
    """Whether a look at the bytes shows that a sheet is small enough and free of formulas.

    Much faster than parsing it; where it is in doubt the answer is no.
    """
    last_row = letters = 0
    rest = b""
    plain = True
    for piece in content:
        text = rest + piece
        cut = text.rfind(b"<")
        plain = plain and cut >= 0
        text, rest = text[:cut], text[max(cut, 0) :] if cut >= 0 else b""
        references = _CELL.findall(text)
        letters = max(letters, max(map(len, references), default=0))
        last_row = max(last_row, max(map(int, _ROW.findall(text)), default=0))
        n_cells = text.count(b"<c ") + text.count(b"<c>") + text.count(b"<c/>")
        n_rows = text.count(b"<row ") + text.count(b"<row>") + text.count(b"<row/>")
        plain = plain and len(references) >= n_cells and len(_ROW.findall(text)) >= n_rows
        plain = plain and not any(sign in text for sign in _NOT_PLAIN)
    widest = {0: 0, 1: 26, 2: 702}.get(letters, 16_384)
    return plain and last_row * widest <= SHEET_CELLS


def _relations(archive: zipfile.ZipFile, member: str) -> dict[str, str]:
    """Members by the key under which a workbook names them."""
    relations: dict[str, str] = {}

    def relation(tag: str, given: dict[str, str]) -> None:
        if local(tag) == "Relationship":
            relations[given["Id"]] = given["Target"]

    parse(pieces(archive, member), relation)
    return relations


def _xlsx_sheets(archive: zipfile.ZipFile) -> dict[str, str]:
    """Sheet names and the members that hold them."""
    relations = _relations(archive, "xl/_rels/workbook.xml.rels")
    sheets: dict[str, str] = {}

    def sheet(tag: str, given: dict[str, str]) -> None:
        if local(tag) == "sheet":
            key = next((v for k, v in given.items() if local(k) == "id"), "")
            target = relations.get(key, "")
            place = target.lstrip("/") if target.startswith("/") else join("xl", target)
            sheets[given["name"]] = normpath(place)

    parse(pieces(archive, "xl/workbook.xml"), sheet)
    names = set(archive.namelist())
    return {name: member for name, member in sheets.items() if member in names and dirname(member)}


class _XlsxSheet:
    """Scan of one worksheet: farthest cell, error cells, formulas without a result."""

    def __init__(self, sheet: str, file: str, shared: SharedTexts) -> None:
        self.hidden = Hidden()
        self._shared = shared
        self.used = 0
        self._sheet, self._file = sheet, file
        self._row = self._column = -1
        self._last_row = self._last_column = 0
        self._first_row: int | None = None
        self._type = ""
        self._formula = self._value = False
        self._inside = ""
        self._text: list[str] = []

    def read(self, content: Iterator[bytes]) -> None:
        """Parse the sheet."""
        parser = new_parser()
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        for piece in content:
            parser.Parse(piece, False)
        parser.Parse(b"", True)

    def _start(self, tag: str, given: dict[str, str]) -> None:
        tag = local(tag)
        if tag == "c":
            reference = given.get("r")
            if reference is None:
                self._column += 1
            else:
                self._row, self._column = _place(reference)
            self._type = given.get("t", "")
            self._formula = self._value = False
            self._text.clear()
        elif tag in {"v", "t"}:
            self._inside = tag
        elif tag == "f":
            self._formula = True
        elif tag == "row":
            self._row = int(given["r"]) - 1 if "r" in given else self._row + 1
            self._column = -1

    def _characters(self, text: str) -> None:
        if self._inside:
            self._value = True
            if self._type in {"e", "s"}:
                self._text.append(text)

    def _end(self, tag: str) -> None:
        tag = local(tag)
        if tag in {"v", "t"}:
            self._inside = ""
        elif tag == "c":
            if self._value:
                self._measure()
            if self._type == "s":
                self.used += self._shared.length("".join(self._text))
                check_text(self.used, self._sheet, self._file)
            if self._type == "e":
                found = "".join(self._text) or "#ERROR"
                self.hidden.cells[self._row, self._column] = (found, Refusal.ERROR_CELL)
            elif self._formula and not self._value and self._type != "str":
                place = self._row, self._column
                self.hidden.cells[place] = ("", Refusal.FORMULA_WITHOUT_VALUE)

    def _measure(self) -> None:
        if self._first_row is None:
            self._first_row = self._row
        self._last_row = max(self._last_row, self._row)
        if self._column > self._last_column:
            self._last_column = self._column
        check_extent(self._last_row + 1, self._last_column + 1, self._sheet, self._file)


def _place(reference: str) -> tuple[int, int]:
    """Row and column, from 0, of a reference like B7."""
    match = _REFERENCE.match(reference)
    if match is None:
        raise expat.ExpatError(f"a cell is called {reference[:20]!r}")
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - 64
    return int(match[2]) - 1, column - 1
