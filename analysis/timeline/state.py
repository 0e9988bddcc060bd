"""How do the days of each line and task add up, and what is its state on the as-of day?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.timeline.axis import (
    NEVER,
    Axis,
    Flags,
    Ints,
    Spans,
    common,
    first_key,
    holds,
    line_of,
    within,
)
from analysis.timeline.care import AS_OF, Intervals
from analysis.timeline.coded import Lines
from analysis.timeline.entered import PORT_TASKS, Block
from analysis.timeline.home import Home
from analysis.vocabulary import State, Task

STATES = tuple(State)


@dataclass(frozen=True)
class Care:
    """One position a line of the task; days since 1970, `NEVER` for no day."""

    line: Ints
    in_date_days: Ints
    out_of_date_days: Ints
    unscored_days: Ints
    not_accessed_days: Ints
    intervals_scored: Ints
    intervals_on_time: Ints
    state: Ints
    last_change_on: Ints
    allowed_until: Ints
    days_overdue: Ints
    change: Ints
    """Position in `Entries` of the last change; -1: none, or not logged."""
    report: Ints
    """Position in `Entries` of the report that compromised it; -1."""


def care_of(
    axis: Axis,
    task: Task,
    lines: Lines,
    home: Home,
    block: Block,
    intervals: Intervals,
    accessed: Spans,
) -> Care:
    """Add up the days of a task by line and find its state (definitions §3).

    Only ports have a needle. `allowed_until` is given for lines at home with an interval in
    force that has a day to keep. `days_overdue` of a compromised dressing counts from the
    day on which it had to be changed: the report, or the day it was already due before.
    """
    line = np.arange(block.first, block.stop, dtype=np.int64)
    n, lines_here = len(line), slice(block.first, block.stop)
    is_port, at_home = lines.is_port[lines_here], home.at_home[lines_here]
    home_days = home.days[lines_here]
    bounds = np.searchsorted(intervals.key, first_key(np.append(line, block.stop)))
    in_date, out_of_date, scored, on_time = _sums(
        bounds,
        intervals.in_date_days,
        intervals.out_of_date_days,
        intervals.scored,
        intervals.on_time,
    )
    not_accessed = np.zeros(n, dtype=np.int64)
    unaccessed = np.zeros(n, dtype=bool)
    if task in PORT_TASKS:
        covered = common(within(home.periods, *block.bounds), accessed)
        np.add.at(not_accessed, line_of(covered.start) - block.first, covered.end - covered.start)
        not_accessed = np.where(is_port, home_days - not_accessed, 0)
        unaccessed = is_port & ~holds(accessed, axis.pack(line, np.full(n, axis.as_of)))

    last = bounds[1:] - 1
    changed = bounds[1:] > bounds[:-1]
    in_force = changed.copy()
    in_force[changed] = intervals.ended_by[last[changed]] == AS_OF
    until = _taken(intervals.allowed_until, last, in_force & at_home, NEVER)
    reported = _taken(intervals.reported, last, in_force, -1)
    state = np.select(
        [
            home.ended[lines_here],
            ~at_home,
            unaccessed,
            ~in_force,
            reported >= 0,
            until < axis.as_of,
            until == axis.as_of,
        ],
        [
            STATES.index(s)
            for s in (
                State.ENDED,
                State.NOT_AT_HOME,
                State.NOT_ACCESSED,
                State.UNKNOWN,
                State.COMPROMISED,
                State.OVERDUE,
                State.DUE_TODAY,
            )
        ],
        STATES.index(State.IN_DATE),
    )
    compromised = state == STATES.index(State.COMPROMISED)
    late = compromised | (state == STATES.index(State.OVERDUE))
    every = Care(
        line=line,
        in_date_days=in_date,
        out_of_date_days=out_of_date,
        unscored_days=home_days - in_date - out_of_date - not_accessed,
        not_accessed_days=not_accessed,
        intervals_scored=scored,
        intervals_on_time=on_time,
        state=state,
        last_change_on=np.where(changed, axis.day(_taken(intervals.key, last, changed, 0)), NEVER),
        allowed_until=until,
        days_overdue=np.where(late, axis.as_of - until, 0),
        change=_taken(intervals.source, last, changed, -1),
        report=np.where(compromised, reported, -1),
    )
    if task is not Task.NEEDLE:
        return every
    return Care(**{name: values[is_port] for name, values in vars(every).items()})


def _sums(bounds: Ints, *counts: Ints | Flags) -> list[Ints]:
    """Add up counts between each bound and the next."""
    summed = []
    for values in counts:
        total = np.zeros(len(values) + 1, dtype=np.int64)
        np.cumsum(values, out=total[1:])
        summed.append(np.diff(total[bounds]))
    return summed


def _taken(values: Ints, at: Ints, wanted: Flags, otherwise: int) -> Ints:
    out = np.full(len(at), otherwise, dtype=np.int64)
    out[wanted] = values[at[wanted]]
    return out
