"""How are the tables of an XLSX or ODS workbook read?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import partial
from itertools import islice

import numpy as np
import pyarrow as pa
from python_calamine import CalamineError, CalamineSheet, CalamineWorkbook, PasswordError

from analysis.ingest.faults import IngestError
from analysis.ingest.heads import (
    joined_heads,
    match_heads,
    table_of_header,
    table_of_profile_heads,
    table_of_sheet,
)
from analysis.ingest.limits import BATCH_ROWS
from analysis.ingest.notes import sheet_left_out_note
from analysis.ingest.profile import Profile, TableProfile
from analysis.ingest.raw import Broken, LogFile, Part, Raw, ragged_row, raw_rows
from analysis.ingest.reasons import FileFault
from analysis.ingest.workbook_scan import scan_workbook
from analysis.ingest.workbook_xml import Hidden

Cell = int | float | str | bool | time | date | datetime | timedelta


def workbook_parts(
    log: LogFile, profile: Profile, table: str | None
) -> tuple[list[Part], tuple[str, ...]]:
    """Open a workbook.

    Parameters
    ----------
    log : LogFile
        An XLSX or ODS file.
    profile : Profile
        Gives sheet names, rows above the header and headers.
    table : str or None
        The table of its only filled sheet; None: found from sheet names or header rows.

    Returns
    -------
    list of Part and tuple of str
        One part a sheet that holds a table; sentences on sheets left out.

    Raises
    ------
    IngestError
        The workbook cannot be opened or is too large, no sheet holds a table, or a sheet
        that does lacks heads.
    """
    file = log.name
    hidden, filled = filled_sheets(log)
    if not filled:
        raise IngestError(FileFault.EMPTY, file)
    if table is not None and len(filled) > 1:
        raise IngestError(
            FileFault.TABLE_AMBIGUOUS, file, what="--table", tables=f"{len(filled)} sheets"
        )
    parts: list[Part] = []
    notes: list[str] = []
    for sheet in filled:
        opened = _Sheet(file, log.stem, sheet, hidden.get(sheet.name, Hidden()))
        part = opened.part(profile, table, only=len(filled) == 1)
        if part is None:
            notes.append(sheet_left_out_note(file, sheet.name))
        else:
            parts.append(part)
    if not parts:
        raise IngestError(FileFault.TABLE_UNKNOWN, file)
    return parts, tuple(notes)


def filled_sheets(log: LogFile) -> tuple[Mapping[str, Hidden], list[CalamineSheet]]:
    """Cells that the reader does not show, by sheet, and the sheets that hold something.

    Raises
    ------
    IngestError
        The workbook is damaged, has a password or is too large.
    """
    hidden = scan_workbook(log)
    try:
        workbook = CalamineWorkbook.from_path(str(log.path))
        sheets = [workbook.get_sheet_by_name(name) for name in workbook.sheet_names]
    except PasswordError:
        raise IngestError(FileFault.PASSWORD, log.name) from None
    except (CalamineError, OSError, ValueError) as fault:
        raise IngestError(FileFault.BROKEN_WORKBOOK, log.name, why=str(fault)) from None
    except BaseException as fault:
        # The reader, which is not Python, gives up damage with an error of no other kind.
        if type(fault).__name__ != "PanicException":
            raise
        why = "it is not built as workbooks are"
        raise IngestError(FileFault.BROKEN_WORKBOOK, log.name, why=why) from None
    return hidden, [s for s in sheets if s.height and s.width]


@dataclass(frozen=True)
class _Sheet:
    """A filled sheet and the cells of it that the reader does not show."""

    file: str
    stem: str
    sheet: CalamineSheet
    hidden: Hidden

    def part(self, profile: Profile, table: str | None, *, only: bool) -> Part | None:
        """The sheet's table, or None when it is not known."""
        table = table or table_of_header(self._head, profile)
        if table is None:
            names = [self.sheet.name, self.stem] if only else [self.sheet.name]
            table = table_of_sheet(names, self._head(TableProfile()), profile, self.file)
            table = table or table_of_profile_heads(self._head, profile)
        if table is None:
            return None
        looks = profile.table(table)
        above = looks.skip_rows + looks.head_rows
        here = f'{self.file} sheet "{self.sheet.name}"'
        head = self._head(looks)
        if not head:
            raise IngestError(FileFault.NO_HEAD, here, row=looks.skip_rows + 1)
        heads = match_heads(head, table, profile, here)
        read: Callable[[], Iterator[Raw]] = partial(self._batches, above, heads.width)
        return Part(self.file, self.sheet.name, table, heads, read)

    def _rows(self) -> Iterator[Sequence[Cell]]:
        """All rows from the sheet's first row and column on (the reader leaves columns out)."""
        start = self.sheet.start
        blank = [""] * (start[1] if start is not None else 0)
        for row in self.sheet.iter_rows():
            yield [*blank, *row]

    def _head(self, looks: TableProfile) -> list[str]:
        """Heads up to the last that is filled."""
        rows = islice(self._rows(), looks.skip_rows, looks.skip_rows + looks.head_rows)
        head = joined_heads([[cell_text(cell) or "" for cell in row] for row in rows])
        while head and not head[-1]:
            head.pop()
        return head

    def _batches(self, above: int, width: int) -> Iterator[Raw]:
        rows = islice(self._rows(), above, None)
        first = above
        while batch := list(islice(rows, BATCH_ROWS)):
            yield self._raw(batch, first, width)
            first += len(batch)

    def _raw(self, batch: Sequence[Sequence[Cell]], first: int, width: int) -> Raw:
        """Columns of text; cells beyond the last head make their row ragged."""
        widest = max(map(len, batch))
        columns = list(
            zip(*([*row, *[""] * (max(widest, width) - len(row))] for row in batch), strict=True)
        )
        cells = {
            at: pa.array([cell_text(cell) for cell in columns[at]], pa.string())
            for at in range(width)
        }
        broken = [
            Broken(row - first, column if column < width else None, value, reason)
            for (row, column), (value, reason) in self.hidden.cells.items()
            if first <= row < first + len(batch) and column < width
        ]
        broken_rows = {b.row for b in broken}
        broken += [b for b in _beyond(columns[width:], width) if b.row not in broken_rows]
        numbers = first + 1 + np.arange(len(batch), dtype=np.int64)
        return raw_rows(numbers, cells, broken)


def _beyond(columns: Sequence[Sequence[Cell]], width: int) -> list[Broken]:
    """Rows that hold something to the right of the last head."""
    texts = [[cell_text(cell) or "" for cell in column] for column in columns]
    rows = sorted({at for column in texts for at, cell in enumerate(column) if cell.strip()})
    ragged = (ragged_row(at, [*[""] * width, *(c[at] for c in texts)], width) for at in rows)
    return [row for row in ragged if row is not None]


def cell_text(cell: Cell) -> str | None:
    """Text of a cell as it would be in a CSV file; None: blank.

    Whole numbers lose their point, dates and times are ISO text. A moment at midnight
    counts as a date, for a workbook writes both alike.

    Examples
    --------
    >>> cell_text(7.0), cell_text(date(2031, 3, 4)), cell_text(True), cell_text("007")
    ('7', '2031-03-04', 'yes', '007')
    """
    match cell:
        case str():
            return cell or None
        case bool():
            return "yes" if cell else "no"
        case float():
            return str(int(cell)) if cell.is_integer() else repr(cell)
        case datetime():
            return _moment_text(cell)
        case date() | time():
            return cell.isoformat()
        case _:
            return str(cell)


def _moment_text(moment: datetime) -> str:
    """ISO text to the millisecond: a workbook counts days in floats, with stray last digits."""
    rounded = moment + timedelta(microseconds=500)
    rounded = rounded.replace(microsecond=rounded.microsecond // 1000 * 1000)
    if rounded.time() == time():
        return rounded.date().isoformat()
    return rounded.isoformat()
