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
    holds,
)
from analysis.timeline.care import AS_OF, Intervals
from analysis.timeline.coded import Lines
from analysis.timeline.entered import PORT_TASKS
from analysis.timeline.home import Home, days_by_line
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
    change_row: Ints
    report_row: Ints


def care_of(
    axis: Axis, task: Task, lines: Lines, home: Home, intervals: Intervals, accessed: Spans
) -> Care:
    """Add up the days of a task by line and tell its state (definitions §3).

    Only ports have a needle. `allowed_until` is given for lines at home with an interval in
    force that has a day to keep. `days_overdue` of a compromised dressing counts from the
    day on which it had to be changed: the report, or the day it was already due before.
    """
    n = len(lines.child)
    home_days = days_by_line(home.spells, n)
    in_date = _by_line(intervals.in_date_days, intervals.line, n)
    out_of_date = _by_line(intervals.out_of_date_days, intervals.line, n)
    not_accessed = np.zeros(n, dtype=np.int64)
    unaccessed = np.zeros(n, dtype=bool)
    if task in PORT_TASKS:
        covered = days_by_line(common(home.spells, accessed), n)
        not_accessed = np.where(lines.is_port, home_days - covered, 0)
        today = axis.pack(np.arange(n, dtype=np.int64), np.full(n, axis.as_of))
        unaccessed = lines.is_port & ~holds(accessed, today)

    last = np.searchsorted(intervals.line, np.arange(n, dtype=np.int64), side="right") - 1
    changed = last >= 0
    changed[changed] = intervals.line[last[changed]] == np.flatnonzero(changed)
    in_force = changed.copy()
    in_force[changed] = intervals.ended_by[last[changed]] == AS_OF
    until = _taken(intervals.allowed_until, last, in_force & home.at_home, NEVER)
    reported = _taken(intervals.reported_on, last, in_force, NEVER)
    state = np.select(
        [
            home.ended,
            ~home.at_home,
            unaccessed,
            ~in_force,
            reported < NEVER,
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
        line=np.arange(n, dtype=np.int64),
        in_date_days=in_date,
        out_of_date_days=out_of_date,
        unscored_days=home_days - in_date - out_of_date - not_accessed,
        not_accessed_days=not_accessed,
        intervals_scored=_by_line(intervals.scored.astype(np.int64), intervals.line, n),
        intervals_on_time=_by_line(intervals.on_time.astype(np.int64), intervals.line, n),
        state=state,
        last_change_on=_taken(intervals.start_on, last, changed, NEVER),
        allowed_until=until,
        days_overdue=np.where(late, axis.as_of - until, 0),
        change_row=_taken(intervals.row, last, changed, -1),
        report_row=_taken(intervals.report_row, last, compromised, -1),
    )
    if task is not Task.NEEDLE:
        return every
    ports = lines.is_port
    return Care(**{name: values[ports] for name, values in vars(every).items()})


def _by_line(counts: Ints, line: Ints, n_lines: int) -> Ints:
    """Add up counts by line; lines are sorted."""
    total = np.zeros(len(counts) + 1, dtype=np.int64)
    np.cumsum(counts, out=total[1:])
    bounds = np.searchsorted(line, np.arange(n_lines + 1, dtype=np.int64), side="left")
    return np.diff(total[bounds])


def _taken(values: Ints, at: Ints, wanted: Flags, otherwise: int) -> Ints:
    out = np.full(len(at), otherwise, dtype=np.int64)
    out[wanted] = values[at[wanted]]
    return out
