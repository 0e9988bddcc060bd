"""From which day to which was a task of a line in date, and when did it become late?

One interval a change, from the change to the first of: the next change, the start of a
stay, the end of a port's access, the end of the line, the as-of day (definitions §3).
Choices where several fall on one date: the end of the line comes before a stay, a stay
before the end of access, and these before a change. So a change on the day of admission
is the clinic's and starts an interval, while the interval before it was cut by admission.

Seen from an interval, its home line-days are one run: they begin on `home_on`, the day of
the change or the day of coming home after a clinic's change, and end with the interval,
because every start of a stay cuts it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analysis.policy import Policy
from analysis.tables.columns import NO_DAY, days_of
from analysis.tables.timeline import ENDED_BY
from analysis.timeline.axis import NEVER, Axis, Flags, Ints, Spans, line_of, numbered
from analysis.timeline.coded import DRESSING_TYPES, LINE_TYPES, Lines
from analysis.timeline.entered import Changes, Reports
from analysis.timeline.home import Home
from analysis.vocabulary import Task

_EPOCH = date(1970, 1, 1)
CHANGE, CLINIC_CHANGE, ADMISSION, REMOVAL, LEAVING, DEACCESS, AS_OF = range(len(ENDED_BY))


@dataclass(frozen=True)
class Intervals:
    """One position an interval, sorted by line and day; days since 1970."""

    line: Ints
    start_on: Ints
    row: Ints
    by_home: Flags
    dressing_type: Ints
    interval_days: Ints
    """-1: never due by the calendar."""
    home_on: Ints
    """First day on which the child was at home with it; `later` when still away."""
    due_on: Ints
    """`NEVER`: never due by the calendar."""
    allowed_until: Ints
    """`NEVER`: never due by the calendar and not reported."""
    reported_on: Ints
    """`NEVER`: not reported."""
    report_row: Ints
    end_on: Ints
    end_row: Ints
    ended_by: Ints
    scored: Flags
    on_time: Flags
    late_days: Ints
    in_date_days: Ints
    out_of_date_days: Ints


@dataclass(frozen=True)
class Rule:
    """How many days a task's interval has, by policy edition and by order of the line."""

    edition_from: Ints
    """First day of each edition but the first, which holds for all earlier days too."""
    days: Ints
    """Shape (editions, dressing types, line types); -1: never due."""
    grace: Ints
    """Shape (editions,)."""
    order: Ints
    """Shape (lines,); 0: no order."""

    @classmethod
    def of(cls, policy: Policy, task: Task, lines: Lines) -> Rule:
        """Lay the policy's rules for a task out as a table.

        The line's own order comes first: `change_every_days` for the dressing,
        `flush_every_days` for the flush.
        """
        table = np.full(
            (len(policy.editions), len(DRESSING_TYPES), len(LINE_TYPES)), -1, dtype=np.int64
        )
        for e, edition in enumerate(policy.editions):
            for d, dressing in enumerate(DRESSING_TYPES):
                for t, line_type in enumerate(LINE_TYPES):
                    days = edition.interval_days(task, dressing, line_type)
                    table[e, d, t] = -1 if days is None else days
        orders = {Task.DRESSING: lines.dressing_order, Task.FLUSH: lines.flush_order}
        return cls(
            edition_from=np.array(
                [(e.effective_from - _EPOCH).days for e in policy.editions[1:]], dtype=np.int64
            ),
            days=table,
            grace=np.array([e.settings.grace_days for e in policy.editions], dtype=np.int64),
            order=orders.get(task, np.zeros(len(lines.child), dtype=np.int64)),
        )


def intervals_of(
    axis: Axis,
    lines: Lines,
    home: Home,
    changes: Changes,
    rule: Rule,
    accessed: Spans | None,
    reports: Reports | None,
) -> Intervals:
    """Return the intervals that the changes of one task start.

    Parameters
    ----------
    axis, lines, home
        The packed axis, coded lines, and who is where.
    changes : Changes
        One a line and date, sorted; all before the end of their line.
    rule : Rule
        The task's intervals in days.
    accessed : Spans or None
        When ports were accessed, for the tasks that depend on it.
    reports : Reports or None
        Entries at home of a compromised dressing, for the dressing.

    Returns
    -------
    Intervals
        Sorted by line and start.
    """
    line = line_of(changes.key)
    start_on = axis.day(changes.key)
    away_until = _away_until(axis, changes.key, home.away)
    home_on = np.maximum(np.maximum(start_on, home.first_on[line]), away_until)
    by_home = (changes.row >= 0) & (home_on == start_on)
    put_on = np.where(changes.dressing_type >= 0, changes.dressing_type, lines.dressing_type[line])
    end_on, ended_by = _ends(axis, lines, home, changes.key, line, by_home, accessed)

    edition = np.searchsorted(rule.edition_from, start_on, side="right")
    days = rule.days[edition, put_on, lines.line_type[line]]
    days = np.where(rule.order[line] > 0, rule.order[line], days)
    has_due = days >= 0
    due_on = np.where(has_due, start_on + days, NEVER)
    until = np.where(has_due, np.maximum(due_on + rule.grace[edition], home_on), NEVER)
    reported_on = np.full(len(line), NEVER, dtype=np.int64)
    report_row = np.full(len(line), -1, dtype=np.int64)
    if reports is not None:
        at, first = _first_reports(axis, changes, line, end_on, reports)
        reported_on[at] = axis.day(reports.key[first])
        report_row[at] = reports.row[first]
        np.minimum(until, reported_on, out=until)

    changed = ended_by == CHANGE
    scored = has_due & (changed | ((end_on > until) & (ended_by != CLINIC_CHANGE)))
    on_time = scored & (end_on <= until)
    end_row = np.full(len(line), -1, dtype=np.int64)
    by_change = np.flatnonzero(changed | (ended_by == CLINIC_CHANGE))
    end_row[by_change] = changes.row[by_change + 1]
    return Intervals(
        line=line,
        start_on=start_on,
        row=changes.row,
        by_home=by_home,
        dressing_type=put_on,
        interval_days=days,
        home_on=home_on,
        due_on=due_on,
        allowed_until=until,
        reported_on=reported_on,
        report_row=report_row,
        end_on=end_on,
        end_row=end_row,
        ended_by=ended_by,
        scored=scored,
        on_time=on_time,
        late_days=np.where(scored & ~on_time, end_on - until, 0),
        in_date_days=np.where(has_due, np.maximum(np.minimum(end_on, until) - home_on, 0), 0),
        out_of_date_days=np.where(has_due, np.maximum(end_on - np.maximum(until, home_on), 0), 0),
    )


def day_spans(axis: Axis, intervals: pd.DataFrame) -> tuple[Spans, Spans]:
    """Return the home line-days in date and out of date, as packed spans.

    Parameters
    ----------
    axis : Axis
        Reaches back to the first interval.
    intervals : DataFrame
        `INTERVALS` of one task; those never due by the calendar have no such days.
    """
    due = intervals[intervals["interval_days"].notna().to_numpy()]
    line = due["line"].to_numpy()
    home_on, end_on = days_of(due["home_on"]), days_of(due["end_on"])
    until = np.clip(days_of(due["allowed_until"]), home_on, np.maximum(end_on, home_on))
    spans = []
    for start, end in ((home_on, np.minimum(until, end_on)), (until, end_on)):
        real = start < end
        spans.append(Spans(axis.pack(line[real], start[real]), axis.pack(line[real], end[real])))
    return spans[0], spans[1]


def _away_until(axis: Axis, key: Ints, away: Spans) -> Ints:
    """Return the end of the stay that each change lies in; `NO_DAY` when in none."""
    until = np.full(len(key), NO_DAY, dtype=np.int64)
    first = np.searchsorted(key, away.start, side="left")
    count = np.searchsorted(key, away.end, side="left") - first
    inside = np.repeat(first, count) + numbered(count)
    until[inside] = np.repeat(axis.day(away.end), count)
    return until


def _ends(
    axis: Axis,
    lines: Lines,
    home: Home,
    key: Ints,
    line: Ints,
    by_home: Flags,
    accessed: Spans | None,
) -> tuple[Ints, Ints]:
    """Return the day each interval ends and what ended it."""
    n = len(key)
    end_on = np.empty(n, dtype=np.int64)
    ended_by = np.empty(n, dtype=np.int64)
    is_last = np.ones(n, dtype=bool)
    is_last[:-1] = line[1:] != line[:-1]
    end_on[:-1] = axis.day(key[1:])
    ended_by[:-1] = np.where(by_home[1:], CHANGE, CLINIC_CHANGE)
    of = line[is_last]
    line_end = lines.end_on[of]
    end_on[is_last] = np.minimum(line_end, axis.as_of)
    ended_by[is_last] = np.where(
        line_end > axis.as_of, AS_OF, np.where(lines.removed[of], REMOVAL, LEAVING)
    )
    if accessed is not None:
        _cut(axis, key, accessed.end, end_on, ended_by, DEACCESS)
    _cut(axis, key, home.away.start, end_on, ended_by, ADMISSION)
    return end_on, ended_by


def _cut(
    axis: Axis, key: Ints, cuts: Ints, end_on: Ints, ended_by: Ints, ended_by_cut: int
) -> None:
    """End the intervals in force at the cuts there, unless the line ends by then."""
    at = np.searchsorted(key, cuts, side="left") - 1
    of_line = at >= 0
    of_line[of_line] = line_of(key[at[of_line]]) == line_of(cuts[of_line])
    first = np.ones(len(at), dtype=bool)
    first[1:] = at[1:] != at[:-1]
    hit = of_line & first
    at, day = at[hit], axis.day(cuts[hit])
    line_gone = (ended_by[at] == REMOVAL) | (ended_by[at] == LEAVING)
    earlier = (day < end_on[at]) | ((day == end_on[at]) & ~line_gone)
    at, day = at[earlier], day[earlier]
    end_on[at] = day
    ended_by[at] = ended_by_cut


def _first_reports(
    axis: Axis, changes: Changes, line: Ints, end_on: Ints, reports: Reports
) -> tuple[Ints, Ints]:
    """Return the intervals whose dressing was reported, and the first report of each.

    A report on the date of a change speaks of the new dressing only if both carry a moment
    and the report's is later than the last change of that date; else of the one before it.
    """
    at = np.searchsorted(changes.key, reports.key, side="right") - 1
    same = at >= 0
    same[same] = changes.key[at[same]] == reports.key[same]
    later = np.zeros(len(at), dtype=bool)
    moment = changes.at[at[same]]
    later[same] = (moment != NO_DAY) & (reports.at[same] > moment)
    at = at - (same & ~later)
    of_line = at >= 0
    of_line[of_line] = line[at[of_line]] == line_of(reports.key[of_line])
    in_place = of_line.copy()
    in_place[of_line] = axis.day(reports.key[of_line]) <= end_on[at[of_line]]
    rows = np.flatnonzero(in_place)
    rows = rows[np.lexsort((reports.row[rows], reports.at[rows], reports.key[rows], at[rows]))]
    first = np.ones(len(rows), dtype=bool)
    first[1:] = at[rows][1:] != at[rows][:-1]
    return at[rows[first]], rows[first]
