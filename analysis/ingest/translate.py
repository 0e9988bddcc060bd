"""How do a source's own columns and words become ours?

One row in is one row out. Heads were matched before; here the fixed values of the source
profile are filled in, its tick columns become lists of codes, and columns that are not ours
are stored with the row.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.faulty import Faults
from analysis.ingest.heads import GUARDED
from analysis.ingest.limits import CELL_CHARACTERS
from analysis.ingest.profile import SHEET_COLUMN, TableProfile, Tick
from analysis.ingest.raw import Part, Raw, filled_joined
from analysis.ingest.reasons import Refusal
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind
from analysis.vocabulary import NOTHING_SEEN

Ints = npt.NDArray[np.int64]

_NO_TEXT = pa.scalar(None, pa.string())
CONTROL = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f]")
"""Characters that no cell may hold: all below a space but tabs and line ends."""


@dataclass(frozen=True)
class Rows:
    """A batch under our heads: text cells by column, null where blank.

    `extra` holds the columns that are not ours under their own heads, `surplus` the cells of
    a row beyond the last head.
    """

    row_numbers: Ints
    cells: Mapping[str, pa.Array]
    extra: Mapping[str, pa.Array]
    surplus: Mapping[int, Sequence[str]]

    def __len__(self) -> int:
        return len(self.row_numbers)


def translate(raw: Raw, part: Part, looks: TableProfile, faults: Faults) -> Rows:
    """Put a batch under our heads; what is broken in the source is marked in `faults`."""
    heads = part.heads
    n = len(raw.row_numbers)
    names = {**heads.columns, **{at: t.head for at, t in heads.ticks.items()}, **heads.times}
    names |= {at: t.head for at, t in heads.entries.items()}
    names |= {**heads.unknown, **heads.nameless}
    for broken in raw.broken:
        if broken.at is None or broken.at in heads.written:
            column = None if broken.at is None else names[broken.at]
            faults.mark_row(broken.row, column, broken.reason, broken.value)
    for at, cells in raw.cells.items():
        _mark_unfit(cells, names.get(at), faults)
    columns = _own_columns(raw, part, looks)
    extra = {head: raw.cells[at] for at, head in heads.unknown.items()}
    for at, head in heads.nameless.items():
        if raw.cells[at].null_count < n:
            extra[head] = raw.cells[at]
    lists = {c.name for c in INCOMING[part.table].columns if c.kind is Kind.CODES}
    for column in sorted({tick.column for tick in heads.ticks.values()}):
        ticks = {at: t for at, t in heads.ticks.items() if t.column == column}
        found = _ticked(raw, ticks, columns.get(column), extra, faults, one=column not in lists)
        columns[column] = found
    columns, extra = _unguarded(columns), _unguarded(extra)
    surplus = {b.row: b.surplus for b in raw.broken if b.surplus}
    return Rows(
        raw.row_numbers, {c: _same_line_ends(v) for c, v in columns.items()}, extra, surplus
    )


def _own_columns(raw: Raw, part: Part, looks: TableProfile) -> dict[str, pa.Array]:
    """Cells under our heads, with times of day joined to their dates and fixed texts filled in."""
    columns = {column: raw.cells[at] for at, column in part.heads.columns.items()}
    for at, column in part.heads.times.items():
        parts = [columns[column]] if column in columns else []
        columns[column] = filled_joined([*parts, raw.cells[at]], " ")
    fixed = {**looks.fixed, **part.fixed}
    if looks.of_sheet_name:
        fixed[looks.of_sheet_name] = _of_sheet_name(part, looks.sheet_name)
    for column, text in fixed.items():
        columns[column] = pa.array([text] * len(raw.row_numbers), pa.string())
    return columns


def _of_sheet_name(part: Part, pattern: str) -> str:
    """What a sheet's name holds (a file's without its ending); the whole name if it is unlike."""
    sheet = part.sheet if part.of_sheet is None else part.of_sheet
    is_file = sheet is None or (part.fixed and part.of_sheet is None)
    name = PurePath(part.file).stem if is_file else str(sheet)
    before, _, after = SHEET_COLUMN.sub("\0", pattern).partition("\0")
    begins = name.casefold().startswith(before.casefold())
    if begins and name.casefold().endswith(after.casefold()) and len(name) > len(before + after):
        return name[len(before) : len(name) - len(after)].strip()
    return name.strip()


def _unguarded(columns: Mapping[str, pa.Array]) -> dict[str, pa.Array]:
    """Cells without the mark that keeps a spreadsheet program from computing them."""
    return {
        name: pc.replace_substring_regex(cells, GUARDED, r"\1")
        if pc.any(pc.starts_with(cells, "'")).as_py()
        else cells
        for name, cells in columns.items()
    }


def _mark_unfit(cells: pa.Array, column: str | None, faults: Faults) -> None:
    """Mark cells that are too long or hold control characters."""
    _, offsets, data = cells.buffers()
    if data is None or len(cells) == 0:
        return
    bounds = np.frombuffer(offsets, np.int32)[cells.offset : cells.offset + len(cells) + 1]
    text = np.frombuffer(data, np.uint8)[bounds[0] : bounds[-1]]
    if int(np.diff(bounds).max()) > CELL_CHARACTERS:
        too_long = pc.greater(pc.utf8_length(cells), CELL_CHARACTERS).fill_null(False)
        faults.mark(np.asarray(too_long), column, Refusal.CELL_TOO_LONG)
    if np.count_nonzero(text < 32):
        unfit = pc.match_substring_regex(cells, CONTROL.pattern).fill_null(False)
        faults.mark(np.asarray(unfit), column, Refusal.CONTROL_CHARACTER)


def _same_line_ends(cells: pa.Array) -> pa.Array:
    """One kind of line end, so that the same note from two systems is the same."""
    data = cells.buffers()[2]
    if data is None or not np.count_nonzero(np.frombuffer(data, np.uint8) == 13):
        return cells
    return pc.replace_substring(pc.replace_substring(cells, "\r\n", "\n"), "\r", "\n")


def _ticked(
    raw: Raw,
    ticks: Mapping[int, Tick],
    written: pa.Array | None,
    extra: dict[str, pa.Array],
    faults: Faults,
    *,
    one: bool,
) -> pa.Array:
    """List of codes from tick columns, joined to what a column of that name holds itself.

    A column of `one` code holds that of its single yes; several are refused as no code later, and
    no yes is not recorded. Of a list, any yes: its codes. Every column a no: ``none``. Some no and
    the rest blank: not recorded, and the ticks are retained with the row, because it is not known
    that everything was checked.
    """
    n = len(raw.row_numbers)
    any_no, all_no = np.zeros(n, np.bool_), np.ones(n, np.bool_)
    codes = [] if written is None else [written]
    any_yes = np.zeros(n, np.bool_)
    for at, tick in ticks.items():
        words = raw.cells[at].dictionary_encode()
        meant = [meaning_of(word, tick) for word in words.dictionary.to_pylist()]
        ticked = np.array([*meant, 0], np.int8)[np.asarray(words.indices.fill_null(len(meant)))]
        faults.mark(ticked == NEITHER, tick.head, Refusal.UNREADABLE_TICK)
        if (ticked == NEITHER).any():
            extra[tick.head] = pc.if_else(pa.array(ticked == NEITHER), raw.cells[at], _NO_TEXT)
        codes.append(pc.if_else(pa.array(ticked == YES), pa.scalar(tick.code), _NO_TEXT))
        any_yes |= ticked == YES
        any_no |= ticked == NO
        all_no &= ticked == NO
    all_no &= not one
    partly = any_no & ~all_no & ~any_yes
    for at, tick in ticks.items() if partly.any() else ():
        retained = pc.if_else(pa.array(partly), raw.cells[at], _NO_TEXT)
        extra[tick.head] = (
            pc.coalesce(extra[tick.head], retained) if tick.head in extra else retained
        )
    joined = filled_joined(codes, ";")
    none = all_no if written is None else all_no & np.asarray(written.is_null())
    return pc.if_else(pa.array(none), pa.scalar(NOTHING_SEEN), joined)


YES, NO, NEITHER = 1, 2, 3
"""What a cell of a tick column means."""


def meaning_of(word: str, tick: Tick) -> int:
    """Whether a cell is a yes, a no or neither."""
    plain = word.strip().casefold()
    return YES if plain in tick.yes else NO if plain in tick.no else NEITHER
