"""Is it safe to open a workbook, and which of its cells does the reader not show?

The reader (calamine) gives a blank for the error of a formula (``#REF!``) and for a formula
whose result was not saved, and lays a sheet out in memory to its farthest cell. So every
sheet is first passed through here: unpacked piece by piece within a limit, measured, and
searched for such cells.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from posixpath import dirname, join, normpath
from xml.parsers import expat

from analysis.ingest.faults import IngestError
from analysis.ingest.limits import SHEET_CELLS, UNPACKED_BYTES, UNPACKED_RATIO
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import FileFault, Refusal

_BLOCK = 1_000_000
_SMALL = 20_000_000
"""Unpacked size up to which the ratio does not matter."""

_REFERENCE = re.compile(r"([A-Z]+)([0-9]+)\Z")
_CELL = re.compile(rb' r="([A-Z]+)')
_ROW = re.compile(rb'<row [^>]*?\br="([0-9]+)"')
_NOT_PLAIN = (b"<f", b't="e"', b"<!", b":row", b":c", b"'")
"""Bytes of formulas, errors, and of ways of writing that the quick look does not foresee."""


@dataclass
class Hidden:
    """Cells of a sheet that the reader shows as blank: (row, column), from 0, to text and why."""

    cells: dict[tuple[int, int], tuple[str, Refusal]] = field(default_factory=dict)


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
    try:
        with zipfile.ZipFile(log.path) as archive:
            _check_size(archive, log)
            names = set(archive.namelist())
            if "xl/workbook.xml" in names:
                return _scan_xlsx(archive, file)
            if "content.xml" in names:
                return _scan_ods(archive, file)
    except (zipfile.BadZipFile, expat.ExpatError, KeyError, EOFError, OSError) as fault:
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


def _pieces(archive: zipfile.ZipFile, member: str) -> Iterator[bytes]:
    """A member's bytes; `zipfile` stops at the declared size and checks the sum."""
    with archive.open(member) as stream:
        while piece := stream.read(_BLOCK):
            yield piece


def _scan_xlsx(archive: zipfile.ZipFile, file: str) -> Mapping[str, Hidden]:
    for member in archive.namelist():
        if not member.startswith("xl/worksheets/"):
            for _ in _pieces(archive, member):
                pass
    found = {}
    for sheet, member in _xlsx_sheets(archive).items():
        scan = _XlsxSheet(sheet, file)
        if not _is_plain(_pieces(archive, member)):
            scan.read(_pieces(archive, member))
        found[sheet] = scan.hidden
    return found


def _is_plain(pieces: Iterator[bytes]) -> bool:
    """Whether a look at the bytes shows that a sheet is small enough and free of formulas.

    Much faster than parsing it; where it is in doubt the answer is no.
    """
    last_row = letters = 0
    rest = b""
    plain = True
    for piece in pieces:
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


def _xlsx_sheets(archive: zipfile.ZipFile) -> dict[str, str]:
    """Sheet names and the members that hold them."""
    relations: dict[str, str] = {}
    sheets: dict[str, str] = {}

    def relation(tag: str, given: dict[str, str]) -> None:
        if _local(tag) == "Relationship":
            relations[given["Id"]] = given["Target"]

    def sheet(tag: str, given: dict[str, str]) -> None:
        if _local(tag) == "sheet":
            key = next((v for k, v in given.items() if _local(k) == "id"), "")
            target = relations.get(key, "")
            place = target.lstrip("/") if target.startswith("/") else join("xl", target)
            sheets[given["name"]] = normpath(place)

    _parse(_pieces(archive, "xl/_rels/workbook.xml.rels"), relation)
    _parse(_pieces(archive, "xl/workbook.xml"), sheet)
    names = set(archive.namelist())
    return {name: member for name, member in sheets.items() if member in names and dirname(member)}


def _local(tag: str) -> str:
    return tag.rpartition(":")[2]


def _no_entities(*_: object) -> None:
    raise expat.ExpatError("it declares XML entities, which no workbook needs")


def _parser() -> expat.XMLParserType:
    parser = expat.ParserCreate()
    parser.EntityDeclHandler = _no_entities
    parser.buffer_text = True
    return parser


def _parse(pieces: Iterator[bytes], start: Callable[[str, dict[str, str]], None]) -> None:
    parser = _parser()
    parser.StartElementHandler = start
    for piece in pieces:
        parser.Parse(piece, False)
    parser.Parse(b"", True)


class _XlsxSheet:
    """Scan of one worksheet: farthest cell, error cells, formulas without a result."""

    def __init__(self, sheet: str, file: str) -> None:
        self.hidden = Hidden()
        self._sheet, self._file = sheet, file
        self._row = self._column = -1
        self._last_row = self._last_column = 0
        self._first_row: int | None = None
        self._type = ""
        self._formula = self._value = False
        self._inside = ""
        self._text: list[str] = []

    def read(self, pieces: Iterator[bytes]) -> None:
        """Parse the sheet."""
        parser = _parser()
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        for piece in pieces:
            parser.Parse(piece, False)
        parser.Parse(b"", True)

    def _start(self, tag: str, given: dict[str, str]) -> None:
        tag = _local(tag)
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
            if self._type == "e":
                self._text.append(text)

    def _end(self, tag: str) -> None:
        tag = _local(tag)
        if tag in {"v", "t"}:
            self._inside = ""
        elif tag == "c":
            if self._value:
                self._measure()
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


def check_extent(rows: int, columns: int, sheet: str, file: str) -> None:
    """Refuse a sheet whose filled part spans too many cells."""
    if rows * columns > SHEET_CELLS:
        raise IngestError(
            FileFault.SHEET_TOO_LARGE, file, sheet=sheet, rows=f"{rows:,}", columns=f"{columns:,}"
        )


def _scan_ods(archive: zipfile.ZipFile, file: str) -> Mapping[str, Hidden]:
    manifest = b"".join(_pieces(archive, "META-INF/manifest.xml"))
    if b"encryption-data" in manifest:
        raise IngestError(FileFault.PASSWORD, file)
    scan = _Ods(file)
    parser = _parser()
    parser.StartElementHandler = scan.start
    parser.EndElementHandler = scan.end
    parser.CharacterDataHandler = scan.characters
    for piece in _pieces(archive, "content.xml"):
        parser.Parse(piece, False)
    parser.Parse(b"", True)
    return scan.found


class _Ods:
    """Scan of the sheets of an ODS file, repeated rows and cells counted."""

    def __init__(self, file: str) -> None:
        self.found: dict[str, Hidden] = {}
        self._file = file
        self._sheet = ""
        self._row = self._column = 0
        self._rows = self._columns = 1
        self._last_column = 0
        self._in_row: dict[int, tuple[str, Refusal]] = {}
        self._filled = False
        self._formula = self._valued = False
        self._text: list[str] | None = None

    def start(self, tag: str, given: dict[str, str]) -> None:
        """Handle the start of an element."""
        match tag:
            case "table:table":
                self._sheet = given.get("table:name", "")
                self.found[self._sheet] = Hidden()
                self._row = self._last_column = 0
            case "table:table-row":
                self._rows = int(given.get("table:number-rows-repeated", "1"))
                self._column = 0
                self._filled = False
                self._in_row = {}
            case "table:table-cell" | "table:covered-table-cell":
                self._columns = int(given.get("table:number-columns-repeated", "1"))
                self._formula = "table:formula" in given
                kind = given.get("calcext:value-type", given.get("office:value-type", ""))
                self._valued = kind not in {"", "error"}
                self._text = []

    def characters(self, text: str) -> None:
        """Handle text of a cell."""
        if self._text is not None:
            self._text.append(text)

    def end(self, tag: str) -> None:
        """Handle the end of an element."""
        if tag in {"table:table-cell", "table:covered-table-cell"}:
            shown = "".join(self._text or []).strip()
            self._text = None
            if shown or self._valued or self._formula:
                self._filled = True
                self._last_column = max(self._last_column, self._column + self._columns)
            if self._formula and not self._valued:
                why = Refusal.ERROR_CELL if shown else Refusal.FORMULA_WITHOUT_VALUE
                self._in_row[self._column] = (shown, why)
            self._column += self._columns
        elif tag == "table:table-row":
            if self._filled:
                check_extent(self._row + self._rows, self._last_column, self._sheet, self._file)
                for row in range(self._row, self._row + self._rows) if self._in_row else ():
                    for column, cell in self._in_row.items():
                        self.found[self._sheet].cells[row, column] = cell
            self._row += self._rows
