"""Which entries are changes of a task, and which report a compromised dressing?

Entries are put in order once: by line, date, moment, stored row; an entry with only a date
comes before those of the date with a moment. "The last entry of a date" means that order.
They are then handled in blocks of lines, small enough for the processor's cache.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from analysis.days import NO_DAY
from analysis.timeline.axis import (
    DAY_BITS,
    Axis,
    Codes,
    Flags,
    Ints,
    Spans,
    first_key,
    holds,
    line_of,
    numbered,
    repeated,
    starts_of_runs,
    within,
)
from analysis.timeline.coded import ENTRY_KINDS, Entries, Lines, Marks, Stays
from analysis.timeline.home import Home
from analysis.vocabulary import EntryKind, Task

KIND_OF_TASK = {
    Task.DRESSING: EntryKind.DRESSING_CHANGE,
    Task.CONNECTOR: EntryKind.CONNECTOR_CHANGE,
    Task.NEEDLE: EntryKind.NEEDLE_CHANGE,
    Task.FLUSH: EntryKind.FLUSH,
}
PORT_TASKS = (Task.DRESSING, Task.NEEDLE)
"""Tasks that are only due on a port while it is accessed."""
Number = TypeVar("Number", np.int64, np.int8)
_BLOCK = 1 << 17
_ACCESS = ENTRY_KINDS.index(EntryKind.PORT_ACCESSED)
_DEACCESS = ENTRY_KINDS.index(EntryKind.PORT_DEACCESSED)


@dataclass(frozen=True)
class Block:
    """Entries of the lines ``first … stop - 1`` in order, those after a line's end left out."""

    first: int
    stop: int
    key: Ints
    source: Ints
    """Position in `Entries`."""
    marks: Marks

    @property
    def bounds(self) -> tuple[int, int]:
        """First packed day of the block's lines, and of the line after them."""
        return self.first << DAY_BITS, self.stop << DAY_BITS


@dataclass(frozen=True)
class Changes:
    """One position a line and date with a change of a task, sorted by packed day."""

    key: Ints
    source: Ints
    """Position in `Entries` of the last change of the date; -1: from the registry or a stay."""
    dressing_type: Codes
    """Put on: by the last change that names one; -1: none of the date does."""


@dataclass(frozen=True)
class Reports:
    """Entries at home that found the dressing loose, damp or soiled, in order."""

    key: Ints
    source: Ints


def blocks_of(axis: Axis, lines: Lines, entries: Entries) -> Iterator[Block]:
    """Put the entries of known lines in order and yield them by blocks of lines.

    One np.sort of int64 does it: line, day and position in `entries` packed in one number.

    Raises
    ------
    ValueError
        More lines, days and entries than fit in 63 bits: the caller has to take the families
        in several parts.
    """
    # before: one row an entry, in any order; after: sorted by line, day, moment, row
    n_lines, n = len(lines.child), len(entries.line)
    day_bits = (axis.later - axis.base).bit_length()
    source_bits = n.bit_length()
    if n_lines.bit_length() + day_bits + source_bits > 63:
        raise ValueError(f"{n} entries of {n_lines} lines are too many at once: split by family")
    packed = np.empty(n, dtype=np.int64)
    for at in range(0, n, _BLOCK):
        part = slice(at, min(at + _BLOCK, n))
        number = entries.line[part] << day_bits
        number += entries.day[part] - axis.base
        number <<= source_bits
        number += np.arange(part.start, part.stop)
        packed[part] = number
    packed.sort()
    low = (1 << source_bits) - 1
    line_bits = day_bits + source_bits
    first, begin = 0, int(np.searchsorted(packed, 0))
    while True:
        stop = n_lines
        if begin + _BLOCK < n:
            stop = max(int(packed[begin + _BLOCK] >> line_bits), first + 1)
        end = int(np.searchsorted(packed, stop << line_bits))
        number = packed[begin:end]
        source = number & low
        key = number >> source_bits
        key += (key >> day_bits) * ((1 << DAY_BITS) - (1 << day_bits))
        source = _by_moment(key, source, entries)
        key, source = _in_place(axis, lines, first, stop, key, source)
        yield Block(first, stop, key, source, Marks.read(entries.mark[source]))
        if stop == n_lines:
            return
        first, begin = stop, end


def accessed_spans(axis: Axis, lines: Lines, block: Block) -> Spans:
    """Return when ports were accessed: ``[port_accessed, port_deaccessed)`` by line.

    The last port entry of a date decides from that date on, so a needle removed and a new
    one put in on one date leaves the port accessed. An accessed port stays so until another entry ends it, at most to the end of the line or the day after the as-of day.
    """
    picked = np.flatnonzero((block.marks.kind == _ACCESS) | (block.marks.kind == _DEACCESS))
    picked = picked[lines.is_port[line_of(block.key[picked])]]
    key = block.key[picked]
    last = _ends_of_runs(key)
    key, opens = key[last], block.marks.kind[picked[last]] == _ACCESS
    line = line_of(key)
    before = np.zeros(len(key), dtype=bool)
    before[1:] = opens[:-1]
    before[starts_of_runs(line)] = False
    turns = opens != before
    key, opens, line = key[turns], opens[turns], line[turns]
    owner = line[opens]
    end = axis.pack(owner, np.minimum(lines.end_on[owner], axis.later))
    closing = np.flatnonzero(opens) + 1
    closes = closing < len(key)
    closes[closes] = line[closing[closes]] == owner[closes]
    end[closes] = key[closing[closes]]
    return Spans(key[opens], end)


def done_by_clinic(axis: Axis, lines: Lines, stays: Stays) -> Ints:
    """Return the packed days on which the registry or a stay notes a change of dressing.

    A change on a stay from before a line was placed was of an earlier line.
    """
    n_children = int(lines.child.max()) + 1 if len(lines.child) else 0
    stay, line = repeated(stays.child, lines.child, n_children)
    of_stay = stays.dressing_on[stay]
    of_stay = np.where(of_stay < lines.placed_on[line], NO_DAY, of_stay)
    position = np.arange(len(lines.child), dtype=np.int64)
    line = np.concatenate([position, line])
    day = np.concatenate([lines.dressing_on, of_stay])
    known = (day != NO_DAY) & (day < lines.end_on[line])
    key = np.sort(axis.pack(line[known], day[known]))
    return key[starts_of_runs(key)]


def changes_of(task: Task, lines: Lines, block: Block, accessed: Spans, by_clinic: Ints) -> Changes:
    """Return the changes of a task, those of one line and date being one (definitions §3).

    Entries dated on or after the end of the line are left out. Access to a port is a change
    of dressing and needle; on a port both count only on dates on which it is accessed. The
    registry's and the stays' `dressing_on` (`by_clinic`) are changes of the dressing.
    """
    is_change = block.marks.kind == ENTRY_KINDS.index(KIND_OF_TASK[task])
    if task in PORT_TASKS:
        access = np.flatnonzero(block.marks.kind == _ACCESS)
        is_change[access[lines.is_port[line_of(block.key[access])]]] = True
    chosen = np.flatnonzero(is_change)
    key, source = block.key[chosen], block.source[chosen]
    put_on = block.marks.dressing_type[chosen]
    if task is Task.DRESSING:
        low, high = np.searchsorted(by_clinic, block.bounds)
        at = np.searchsorted(key, by_clinic[low:high], side="left")
        at += np.arange(high - low)
        logged = np.ones(len(key) + len(at), dtype=bool)
        logged[at] = False
        key = _filled(logged, key, by_clinic[low:high])
        source, put_on = _filled(logged, source, -1), _filled(logged, put_on, -1)
    if task in PORT_TASKS:
        of_port = lines.is_port[line_of(key)]
        kept = ~of_port if task is Task.DRESSING else np.zeros(len(key), dtype=bool)
        kept[of_port] = holds(accessed, key[of_port])
        key, source, put_on = key[kept], source[kept], put_on[kept]
    return _one_a_date(key, source, put_on)


def reports_of(axis: Axis, lines: Lines, block: Block, home: Home) -> Reports:
    """Return the entries at home that found the dressing loose, damp or soiled."""
    picked = np.flatnonzero(block.marks.found_compromised)
    key = block.key[picked]
    kept = axis.day(key) >= lines.home_from[line_of(key)]
    kept &= ~holds(within(home.away, *block.bounds), key)
    return Reports(key[kept], block.source[picked[kept]])


def _by_moment(key: Ints, source: Ints, entries: Entries) -> Ints:
    """Put the entries of one line and date in order of moment and row."""
    same = key[1:] == key[:-1]
    if not same.any():
        return source
    tied = np.zeros(len(key), dtype=bool)
    tied[1:] = same
    tied[:-1] |= same
    at = np.flatnonzero(tied)
    some = source[at]
    source[at] = some[np.lexsort((entries.row[some], entries.at[some], key[at]))]
    return source


def _in_place(
    axis: Axis, lines: Lines, first: int, stop: int, key: Ints, source: Ints
) -> tuple[Ints, Ints]:
    """Leave out entries dated on or after the end of their line."""
    ended = first + np.flatnonzero(lines.end_on[first:stop] <= axis.as_of)
    low = np.searchsorted(key, axis.pack(ended, np.maximum(lines.end_on[ended], axis.base)))
    high = np.searchsorted(key, first_key(ended + 1))
    gone = np.repeat(low, high - low) + numbered(high - low)
    if not len(gone):
        return key, source
    kept = np.ones(len(key), dtype=bool)
    kept[gone] = False
    return key[kept], source[kept]


def _one_a_date(key: Ints, source: Ints, put_on: Codes) -> Changes:
    # before: one row a change; after: one row a line and date
    last = _ends_of_runs(key)
    earlier = np.flatnonzero(~last)
    if not len(earlier):
        return Changes(key, source, put_on)
    kept = np.flatnonzero(last)
    last_of = kept[np.searchsorted(kept, earlier)]
    names = (put_on[earlier] >= 0) & (put_on[last_of] < 0)
    put_on[last_of[names]] = put_on[earlier[names]]  # of several the last counts
    return Changes(key[last], source[last], put_on[last])


def _filled(
    here: Flags, values: npt.NDArray[Number], others: npt.NDArray[Number] | int
) -> npt.NDArray[Number]:
    """Put `values` where `here` holds and `others` elsewhere, both in order."""
    both = np.empty(len(here), dtype=values.dtype)
    both[here] = values
    both[~here] = others
    return both


def _ends_of_runs(values: Ints) -> Flags:
    """Mark the last of each run of equal values."""
    last = np.ones(len(values), dtype=bool)
    np.not_equal(values[1:], values[:-1], out=last[:-1])
    return last
