"""How is one submission of a form read that reports several entries, each by a tick of its own?

Each ticked kind is an entry of the same line, person and time. The first one ticked has the rest
of the row (findings, notes, counts), so that nothing counts twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.heads import KIND, Heads
from analysis.ingest.profile import Tick
from analysis.ingest.raw import Part, Raw, without_rows
from analysis.ingest.translate import NEITHER, YES, meaning_of

Mask = npt.NDArray[np.bool_]

SHARED = frozenset(
    {"line_id", "family_id", "caregiver_id", "done_at", "received_at", "void", "entry_id"}
)
"""Columns that every entry of a row has."""
_ENTRY_ID = "entry_id"


def by_entry(part: Part) -> list[Part]:
    """The parts of a sheet, one for each kind that may be ticked; itself where there is none.

    A row with no tick, or with a word that is no tick, is in a last part, where it is refused.
    """
    entries = part.heads.entries
    if not entries:
        return [part]
    return [*(_of_tick(part, at) for at in entries), _rest(part)]


def _of_tick(part: Part, at: int) -> Part:
    """The entries of one kind; an `entry_id` is that of the row with the kind behind it."""
    heads, tick = part.heads, part.heads.entries[at]
    shared = {place for place, column in heads.columns.items() if column in SHARED}
    shared |= set(heads.times)
    numbered = {place for place, column in heads.columns.items() if column == _ENTRY_ID}

    def chosen(raw: Raw) -> Raw:
        ticked, broken = _ticked(raw, heads.entries)
        first = np.argmax(np.array([*ticked.values()]), axis=0) == [*ticked].index(at)
        rest = pa.array(first)
        cells = {}
        for place, cell in raw.cells.items():
            if place in numbered:
                cells[place] = pc.binary_join_element_wise(cell, f"/{tick.code}", "")
            elif place in shared:
                cells[place] = cell
            else:
                cells[place] = pc.if_else(rest, cell, pa.scalar(None, cell.type))
        return without_rows(replace(raw, cells=cells), ~ticked[at] | broken)

    return replace(
        part,
        sheet=tick.head if part.sheet is None else f"{part.sheet}, {tick.head}",
        batches=_each(part.batches, chosen),
        fixed={**part.fixed, KIND: tick.code},
        of_sheet=part.sheet if part.of_sheet is None else part.of_sheet,
    )


def _rest(part: Part) -> Part:
    heads: Heads = part.heads
    together = replace(heads, ticks={**heads.ticks, **heads.entries}, entries={})

    def chosen(raw: Raw) -> Raw:
        ticked, broken = _ticked(raw, heads.entries)
        return without_rows(raw, np.any([*ticked.values()], axis=0) & ~broken)

    return replace(part, heads=together, batches=_each(part.batches, chosen))


def _ticked(raw: Raw, entries: Mapping[int, Tick]) -> tuple[dict[int, Mask], Mask]:
    """Rows ticked in each column, and rows that cannot be read."""
    broken = np.zeros(len(raw.row_numbers), np.bool_)
    broken[[b.row for b in raw.broken]] = True
    ticked = {}
    for at, tick in entries.items():
        words = raw.cells[at].dictionary_encode()
        meant = [meaning_of(word, tick) for word in words.dictionary.to_pylist()]
        found = np.array([*meant, 0], np.int8)[np.asarray(words.indices.fill_null(len(meant)))]
        ticked[at] = found == YES
        broken |= found == NEITHER
    return ticked, broken


def _each(
    batches: Callable[[], Iterator[Raw]], chosen: Callable[[Raw], Raw]
) -> Callable[[], Iterator[Raw]]:
    def read() -> Iterator[Raw]:
        return map(chosen, batches())

    return read
