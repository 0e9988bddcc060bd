"""Is it safe to open an ODS workbook, and which of its cells does the reader not show?"""

from __future__ import annotations

import zipfile
from collections.abc import Mapping

from analysis.ingest.faults import IngestError
from analysis.ingest.reasons import FileFault, Refusal
from analysis.ingest.workbook_text import check_text
from analysis.ingest.workbook_xml import Hidden, check_extent, new_parser, pieces


def scan_ods(archive: zipfile.ZipFile, file: str) -> Mapping[str, Hidden]:
    """Error cells and formulas without a saved result, by sheet; see `workbook_scan`."""
    manifest = b"".join(pieces(archive, "META-INF/manifest.xml"))
    if b"encryption-data" in manifest:
        raise IngestError(FileFault.PASSWORD, file)
    scan = _Ods(file)
    parser = new_parser()
    parser.StartElementHandler = scan.start
    parser.EndElementHandler = scan.end
    parser.CharacterDataHandler = scan.characters
    for piece in pieces(archive, "content.xml"):
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
        self._last_column = self._row_text = self._text_length = 0
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
                self._row_text = 0
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
                self._row_text += len(shown) * self._columns
                self._last_column = max(self._last_column, self._column + self._columns)
            if self._formula and not self._valued:
                why = Refusal.ERROR_CELL if shown else Refusal.FORMULA_WITHOUT_VALUE
                self._in_row[self._column] = (shown, why)
            self._column += self._columns
        elif tag == "table:table-row":
            if self._filled:
                check_extent(self._row + self._rows, self._last_column, self._sheet, self._file)
                self._text_length += self._row_text * self._rows
                check_text(self._text_length, self._sheet, self._file)
                for row in range(self._row, self._row + self._rows) if self._in_row else ():
                    for column, cell in self._in_row.items():
                        self.found[self._sheet].cells[row, column] = cell
            self._row += self._rows
