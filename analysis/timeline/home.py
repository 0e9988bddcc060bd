"""On which days was a line in place and its child at home?

The only place that counts home line-days (definitions §1): days ``d < A`` in
``[home_from, min(removed_on, left_on, A))`` outside the child's stays, stays that overlap
or touch being one stay. A stay of no night (`to_on` equal to `from_on`) takes no day away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.timeline.axis import (
    NEVER,
    Axis,
    Flags,
    Ints,
    Spans,
    found_in,
    holds,
    line_of,
    merged,
    repeated,
    without,
)
from analysis.timeline.coded import Lines, Stays

PERIOD_ENDS = ("admission", "removal", "leaving", "as_of")


@dataclass(frozen=True)
class Home:
    """Who is where: packed spans by line, and the state of each line on the as-of day."""

    away: Spans
    """Stays by line, merged; one that has not ended by the as-of day ends the day after."""
    periods: Spans
    """Runs of home line-days."""
    days: Ints
    """By line: home line-days."""
    ended_by: Ints
    """What ended each period: position in `PERIOD_ENDS`."""
    first_on: Ints
    """By line: `home_from`, or the end of the stay in which it falls."""
    ended: Flags
    """By line: removed or left by the as-of day."""
    at_home: Flags
    """By line: in place, come home and not away on the as-of day."""

    def attributed(self, axis: Axis, line: Ints, day: Ints) -> Flags:
        """Tell whether what began on a day of a line counts as begun at home.

        It does on a home line-day, and on the day a home period ends by admission, removal
        or leaving, which then has at least one home line-day before it (definitions §5). The
        as-of day, which is not counted yet, is judged by where the child is on it.
        """
        key = axis.pack(line, day)
        today = (day == axis.as_of) & self.at_home[line]
        # a period that ends only because of the as-of day ends at home
        return holds(self.periods, key) | found_in(self.periods.end, key) | today


def find_home(axis: Axis, lines: Lines, stays: Stays) -> Home:
    """Find the away and home spans of every line.

    Parameters
    ----------
    axis : Axis
        Reaches back to the earliest day of lines and stays.
    lines, stays
        As coded up to the as-of day.

    Returns
    -------
    Home
        Spans are sorted by line and day.
    """
    n_children = int(lines.child.max()) + 1 if len(lines.child) else 0
    stay, line = repeated(stays.child, lines.child, n_children)
    away = merged(
        axis.pack(line, stays.from_on[stay]),
        axis.pack(line, np.minimum(stays.to_on[stay], axis.later)),
    )
    position = np.arange(len(lines.child), dtype=np.int64)
    until = np.minimum(lines.end_on, axis.as_of)
    window = lines.home_from < until
    periods = without(
        Spans(
            axis.pack(position[window], lines.home_from[window]),
            axis.pack(position[window], until[window]),
        ),
        away,
    )
    of = line_of(periods.start)
    at_line_end = axis.day(periods.end) == lines.end_on[of]
    ended_by = np.select(
        [at_line_end & lines.removed[of], at_line_end, found_in(away.start, periods.end)],
        [PERIOD_ENDS.index(w) for w in ("removal", "leaving", "admission")],
        PERIOD_ENDS.index("as_of"),
    )
    coming = axis.pack(position, np.minimum(lines.home_from, axis.later))
    late_back = np.searchsorted(away.start, coming, side="right") - 1
    delayed = holds(away, coming)
    first_on = lines.home_from.copy()
    first_on[delayed] = axis.day(away.end[late_back[delayed]])
    today = axis.pack(position, np.full(len(position), axis.as_of))
    ended = lines.end_on <= axis.as_of
    return Home(
        away=away,
        periods=periods,
        days=_days_by_line(periods, len(position)),
        ended_by=ended_by,
        first_on=first_on,
        ended=ended,
        at_home=(lines.home_from <= axis.as_of) & ~ended & ~holds(away, today),
    )


def _days_by_line(spans: Spans, n_lines: int) -> Ints:
    """Add up the days of spans by line."""
    days = np.zeros(n_lines, dtype=np.int64)
    np.add.at(days, line_of(spans.start), spans.end - spans.start)
    return days


def last_return(axis: Axis, lines: Lines, home: Home) -> Ints:
    """By line, the day it came home last: `home_from` or the end of the last stay.

    Only meaningful for lines at home on the as-of day; `NEVER` for others.
    """
    back = np.full(len(lines.child), NEVER, dtype=np.int64)
    back[home.at_home] = lines.home_from[home.at_home]
    last_away = home.away.end
    of = line_of(last_away)
    np.maximum.at(back, of, np.where(home.at_home[of], axis.day(last_away), 0))
    return back
