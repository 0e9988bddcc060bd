"""Which entries start anew the care of a line, and which say the dressing was compromised?

Entries of one line and date are put in order by moment, then by stored row; an entry with
only a date comes before those with a moment. "The last entry of a date" means that order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.tables.columns import NO_DAY
from analysis.timeline.axis import Axis, Flags, Ints, Spans, holds, line_of, repeated
from analysis.timeline.coded import Entries, Lines, Stays
from analysis.timeline.home import Home
from analysis.vocabulary import EntryKind, Task

KINDS_OF_TASK = {
    Task.DRESSING: (EntryKind.DRESSING_CHANGE,),
    Task.CONNECTOR: (EntryKind.CONNECTOR_CHANGE,),
    Task.NEEDLE: (EntryKind.NEEDLE_CHANGE,),
    Task.FLUSH: (EntryKind.FLUSH,),
}
PORT_TASKS = (Task.DRESSING, Task.NEEDLE)
"""Tasks that are only due on a port while it is accessed."""


@dataclass(frozen=True)
class Changes:
    """One position a line and date with a change of a task, sorted by packed day."""

    key: Ints
    at: Ints
    """Moment of the last change of the date; `NO_DAY`: only a date."""
    row: Ints
    """Stored row of that change; -1: from the registry or a stay."""
    dressing_type: Ints
    """Put on: by the last change that names one; -1: none of the date does."""


@dataclass(frozen=True)
class Reports:
    """One position an entry at home that found the dressing loose, damp or soiled."""

    key: Ints
    at: Ints
    row: Ints


def accessed_spans(axis: Axis, lines: Lines, entries: Entries) -> Spans:
    """Return when ports were accessed: ``[port_accessed, port_deaccessed)`` by line.

    The last port entry of a date decides from that date on, so a needle taken out and a new
    one put in on one date leaves the port accessed. An accessed port stays so until an entry
    says otherwise, at most to the end of the line or the day after the as-of day.
    """
    kinds = entries.of_kind(EntryKind.PORT_ACCESSED, EntryKind.PORT_DEACCESSED)
    picked = np.flatnonzero(kinds & _of_ports(lines, entries))
    picked = picked[entries.day[picked] < lines.end_on[entries.line[picked]]]
    key = axis.pack(entries.line[picked], entries.day[picked])
    order, last = _last_of_each(key, entries.at[picked], entries.row[picked])
    picked, key = picked[order][last], key[order][last]
    opens = entries.of_kind(EntryKind.PORT_ACCESSED)[picked]
    line = line_of(key)
    new_line = np.ones(len(key), dtype=bool)
    new_line[1:] = line[1:] != line[:-1]
    before = np.zeros(len(key), dtype=bool)
    before[1:] = opens[:-1]
    before[new_line] = False
    turns = opens != before
    key, opens, line = key[turns], opens[turns], line[turns]
    start, owner = key[opens], line[opens]
    until = np.minimum(lines.end_on[owner], axis.later)
    end = axis.pack(owner, until)
    closed = np.flatnonzero(opens) + 1
    has_close = closed < len(key)
    has_close[has_close] = line[closed[has_close]] == owner[has_close]
    end[has_close] = key[closed[has_close]]
    return Spans(start, end)


def changes_of(
    axis: Axis, task: Task, lines: Lines, entries: Entries, stays: Stays, accessed: Spans
) -> Changes:
    """Return the changes of a task, those of one line and date being one (definitions §3).

    Entries dated on or after the end of the line are left out. Access to a port is a change
    of dressing and needle; on a port both count only on dates on which it is accessed. The
    registry's and the stays' `dressing_on` are changes of the dressing by the clinic.
    """
    kinds = entries.of_kind(*KINDS_OF_TASK[task])
    if task in PORT_TASKS:
        kinds |= entries.of_kind(EntryKind.PORT_ACCESSED) & _of_ports(lines, entries)
    if task is Task.NEEDLE:
        kinds &= _of_ports(lines, entries)
    picked = np.flatnonzero(kinds & (entries.line >= 0))
    parts = [
        (
            entries.line[picked],
            entries.day[picked],
            entries.at[picked],
            entries.row[picked],
            entries.dressing_type[picked],
        )
    ]
    if task is Task.DRESSING:
        parts += [_unlogged(line, day) for line, day in _done_by_clinic(lines, stays)]
    line, day, at, row, dressing_type = (np.concatenate(p) for p in zip(*parts, strict=True))
    kept = (day != NO_DAY) & (day < lines.end_on[line])
    if not kept.all():
        line, day, at, row, dressing_type = (v[kept] for v in (line, day, at, row, dressing_type))
    key = axis.pack(line, day)
    if task in PORT_TASKS and lines.is_port.any():
        kept = ~lines.is_port[line] | holds(accessed, key)
        key, at, row, dressing_type = (v[kept] for v in (key, at, row, dressing_type))
    return _one_a_date(key, at, row, dressing_type)


def reports_of(axis: Axis, lines: Lines, entries: Entries, home: Home) -> Reports:
    """Return the entries at home that found the dressing loose, damp or soiled."""
    picked = np.flatnonzero(entries.found_compromised & (entries.line >= 0))
    line, day = entries.line[picked], entries.day[picked]
    key = axis.pack(line, day)
    kept = (day >= lines.home_from[line]) & (day < lines.end_on[line]) & ~holds(home.away, key)
    picked = picked[kept]
    return Reports(key[kept], entries.at[picked], entries.row[picked])


def _done_by_clinic(lines: Lines, stays: Stays) -> list[tuple[Ints, Ints]]:
    n_children = int(lines.child.max()) + 1 if len(lines.child) else 0
    stay, line = repeated(stays.child, lines.child, n_children)
    position = np.arange(len(lines.child), dtype=np.int64)
    return [(position, lines.dressing_on), (line, stays.dressing_on[stay])]


def _of_ports(lines: Lines, entries: Entries) -> Flags:
    return np.append(lines.is_port, False)[entries.line]


def _unlogged(line: Ints, day: Ints) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    blank = np.full(len(line), -1, dtype=np.int64)
    return line, day, np.full(len(line), NO_DAY, dtype=np.int64), blank, blank


def _last_of_each(key: Ints, at: Ints, row: Ints) -> tuple[Ints, Flags]:
    """Sort by key, moment, row; mark the last of each key in that order."""
    order = np.lexsort((row, at, key))
    key = key[order]
    last = np.ones(len(key), dtype=bool)
    last[:-1] = key[1:] != key[:-1]
    return order, last


def _one_a_date(key: Ints, at: Ints, row: Ints, dressing_type: Ints) -> Changes:
    # before: one row a change; after: one row a line and date
    order, last = _last_of_each(key, at, row)
    key, at, row, dressing_type = (v[order] for v in (key, at, row, dressing_type))
    named = np.where(dressing_type >= 0, np.arange(len(key), dtype=np.int64), -1)
    np.maximum.accumulate(named, out=named)
    named = named[last]
    fits = named >= 0
    fits[fits] = key[named[fits]] == key[last][fits]
    put_on = np.where(fits, dressing_type[named], -1)
    return Changes(key[last], at[last], row[last], put_on)
