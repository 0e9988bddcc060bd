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

import numpy as np

from analysis.days import NO_DAY, day_number
from analysis.policy import Policy
from analysis.tables.timeline import ENDED_BY
from analysis.timeline.attributes import Attributes
from analysis.timeline.axis import (
    NEVER,
    Axis,
    Codes,
    Flags,
    Ints,
    Spans,
    line_of,
    numbered,
    starts_of_runs,
    within,
)
from analysis.timeline.coded import DRESSING_TYPES, LINE_TYPES, Entries, Lines
from analysis.timeline.entered import Block, Changes, Reports
from analysis.timeline.home import Home
from analysis.vocabulary import Task

CHANGE, CLINIC_CHANGE, ADMISSION, REMOVAL, LEAVING, DEACCESS, AS_OF = range(len(ENDED_BY))


@dataclass(frozen=True)
class Intervals:
    """One position an interval, sorted by line and day; days since 1970."""

    key: Ints
    """Line and day of the change, packed."""
    line: Ints
    source: Ints
    """Position in `Entries` of the change; -1: from the registry or a stay."""
    by_home: Flags
    dressing_type: Codes
    interval_days: Ints
    """-1: never due by the calendar."""
    home_on: Ints
    """First day on which the child was at home with it; `later` when still away."""
    due_on: Ints
    """`NEVER`: never due by the calendar."""
    allowed_until: Ints
    """`NEVER`: never due by the calendar and not reported."""
    reported: Ints
    """Position in `Entries` of the first report; -1: not reported."""
    end_on: Ints
    ended_by: Codes
    end_source: Ints
    """Position in `Entries` of the change that ended it; -1: none, or not logged."""
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
    """By position in `Attributes`; 0: no order."""
    moved: Ints | None
    """By position in `Attributes`: days by which dates are later than written; None: they are not."""

    @classmethod
    def of(
        cls, policy: Policy, task: Task, attributes: Attributes, moved: Ints | None = None
    ) -> Rule:
        """Write the policy's rules for a task as a table.

        The line's own order comes first: `change_every_days` for the dressing,
        `flush_every_days` for the flush. `moved` is by line.
        """
        table = np.full(
            (len(policy.editions), len(DRESSING_TYPES), len(LINE_TYPES)), -1, dtype=np.int64
        )
        for e, edition in enumerate(policy.editions):
            for d, dressing in enumerate(DRESSING_TYPES):
                for t, line_type in enumerate(LINE_TYPES):
                    days = edition.interval_days(task, dressing, line_type)
                    table[e, d, t] = -1 if days is None else days
        orders = {Task.DRESSING: attributes.dressing_order, Task.FLUSH: attributes.flush_order}
        return cls(
            edition_from=np.array(
                [day_number(e.effective_from) for e in policy.editions[1:]], dtype=np.int64
            ),
            days=table,
            grace=np.array([e.settings.grace_days for e in policy.editions], dtype=np.int64),
            order=orders.get(task, np.zeros(len(attributes.start), dtype=np.int64)),
            moved=None if moved is None else moved[line_of(attributes.start)],
        )

    def on(
        self, day: Ints, time: Ints, put_on: Codes, line_type: Codes
    ) -> tuple[Ints, Ints | np.int64]:
        """Return interval and grace of changes, by the edition in force on their day.

        `time` is the position of the attributes in force on the day, `line_type` that of the line.
        """
        cell = put_on * np.int8(len(LINE_TYPES)) + line_type
        grace: Ints | np.int64 = self.grace[0]
        if len(self.grace) == 1:
            days = self.days[0].ravel()[cell]
        else:
            written = day if self.moved is None else day - self.moved[time]
            edition = np.searchsorted(self.edition_from, written, side="right")
            days = self.days.reshape(len(self.grace), -1)[edition, cell]
            grace = self.grace[edition]
        if self.order.any():
            order = self.order[time]
            days = np.where(order > 0, order, days)
        return days, grace


def intervals_of(
    axis: Axis,
    lines: Lines,
    attributes: Attributes,
    home: Home,
    entries: Entries,
    block: Block,
    changes: Changes,
    rule: Rule,
    accessed: Spans | None,
    reports: Reports | None,
) -> Intervals:
    """Return the intervals that the changes of one task start.

    Parameters
    ----------
    axis, lines, attributes, home, entries, block
        The packed axis, coded lines, what held of them, who is where, entries, and which lines
        are meant.
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
    key = changes.key
    line, start_on = line_of(key), axis.day(key)
    away = within(home.away, *block.bounds)
    home_on = np.maximum(start_on, home.first_on[line])
    _delay_to_return(axis, key, away, home_on)
    by_home = (changes.source >= 0) & (home_on == start_on)
    time = attributes.on(key)
    by_registry = attributes.dressing_type[time]
    put_on = np.where(changes.dressing_type >= 0, changes.dressing_type, by_registry)
    end_on, ended_by = _ends(axis, lines, away, key, line, start_on, by_home, accessed)

    days, grace = rule.on(start_on, time, put_on, lines.line_type[line])
    has_due = days >= 0
    due_on = start_on + days
    until = np.maximum(due_on + grace, home_on)
    if not has_due.all():
        due_on[~has_due] = until[~has_due] = NEVER
    reported = np.full(len(key), -1, dtype=np.int64)
    if reports is not None:
        at, first = _first_reports(axis, entries, changes, line, end_on, reports)
        reported[at] = reports.source[first]
        until[at] = np.minimum(until[at], axis.day(reports.key[first]))

    changed = ended_by == CHANGE
    on_time = end_on <= until
    scored = has_due & (changed | ~(on_time | (ended_by == CLINIC_CHANGE)))
    on_time &= scored
    in_date = np.minimum(end_on, until) - home_on
    out_of_date = end_on - np.maximum(until, home_on)
    np.maximum(in_date, 0, out=in_date)
    np.maximum(out_of_date, 0, out=out_of_date)
    in_date *= has_due  # from a report on, days are out of date even where nothing is ever due
    late_days = end_on - until
    late_days *= scored & ~on_time
    end_source = np.full(len(key), -1, dtype=np.int64)
    by_change = np.flatnonzero(ended_by <= CLINIC_CHANGE)
    end_source[by_change] = changes.source[by_change + 1]
    return Intervals(
        key=key,
        line=line,
        source=changes.source,
        by_home=by_home,
        dressing_type=put_on,
        interval_days=days,
        home_on=home_on,
        due_on=due_on,
        allowed_until=until,
        reported=reported,
        end_on=end_on,
        ended_by=ended_by,
        end_source=end_source,
        scored=scored,
        on_time=on_time,
        late_days=late_days,
        in_date_days=in_date,
        out_of_date_days=out_of_date,
    )


@dataclass(frozen=True)
class DatedDays:
    """The home line-days in and out of date of one task, ready to be counted in pieces."""

    key: Ints
    home_on: Ints
    allowed_until: Ints
    end_on: Ints
    in_date_days: Ints
    out_of_date_days: Ints

    def by_piece(self, axis: Axis, pieces: Spans) -> tuple[Ints, Ints]:
        """Count days in date and out of date in pieces that together hold every home line-day.

        One running sum over the intervals, read where a piece starts: what comes before the
        next piece starts is in this one.
        """
        n = len(pieces.start)
        if not len(self.key):
            return np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
        at = np.searchsorted(self.key, pieces.start, side="right") - 1
        begun = at >= 0
        at = np.maximum(at, 0)
        of_line = line_of(self.key[at]) == line_of(pieces.start)
        day, until, end_on = axis.day(pieces.start), self.allowed_until[at], self.end_on[at]
        passed_in_date = np.minimum(day, until) - self.home_on[at]
        passed_out = np.minimum(day, end_on) - np.maximum(until, self.home_on[at])
        return (
            _up_to_next(self.in_date_days, at, begun, of_line, passed_in_date),
            _up_to_next(self.out_of_date_days, at, begun, of_line, passed_out),
        )


def _up_to_next(days: Ints, at: Ints, begun: Flags, of_line: Flags, passed: Ints) -> Ints:
    """Count days from each place to the next; at a place `passed` days of one interval are over.

    An interval of an earlier line (not `of_line`) is over as a whole.
    """
    total = np.zeros(len(days) + 1, dtype=np.int64)
    np.cumsum(days, out=total[1:])
    before = total[at] + np.where(of_line, np.clip(passed, 0, days[at]), days[at])
    before[~begun] = 0
    return np.diff(before, append=total[-1])


def _delay_to_return(axis: Axis, key: Ints, away: Spans, home_on: Ints) -> None:
    """Move `home_on` of the changes in a stay to its end."""
    first = np.searchsorted(key, away.start, side="left")
    count = np.searchsorted(key, away.end, side="left") - first
    inside = np.repeat(first, count) + numbered(count)
    home_on[inside] = np.maximum(home_on[inside], np.repeat(axis.day(away.end), count))


def _ends(
    axis: Axis,
    lines: Lines,
    away: Spans,
    key: Ints,
    line: Ints,
    start_on: Ints,
    by_home: Flags,
    accessed: Spans | None,
) -> tuple[Ints, Codes]:
    """Return the day each interval ends and what ended it."""
    end_on = np.empty(len(key), dtype=np.int64)
    end_on[:-1] = start_on[1:]
    ended_by = np.empty(len(key), dtype=np.int8)
    ended_by[:-1] = ~by_home[1:]  # CHANGE is 0, CLINIC_CHANGE 1
    last = np.flatnonzero(starts_of_runs(line))[1:] - 1
    if len(key):
        last = np.append(last, len(key) - 1)
    of = line[last]
    line_end = lines.end_on[of]
    end_on[last] = np.minimum(line_end, axis.as_of)
    ended_by[last] = np.where(
        line_end > axis.as_of, AS_OF, np.where(lines.removed[of], REMOVAL, LEAVING)
    )
    if accessed is not None:
        _cut(axis, key, accessed.end, end_on, ended_by, DEACCESS)
    _cut(axis, key, away.start, end_on, ended_by, ADMISSION)
    return end_on, ended_by


def _cut(axis: Axis, key: Ints, cuts: Ints, end_on: Ints, ended_by: Codes, cut_by: int) -> None:
    """End the intervals in force at the cuts there, unless the line ends by then."""
    at = np.searchsorted(key, cuts, side="left") - 1
    hit = at >= 0
    hit[hit] = line_of(key[at[hit]]) == line_of(cuts[hit])
    hit &= starts_of_runs(at)
    at, day = at[hit], axis.day(cuts[hit])
    line_gone = (ended_by[at] == REMOVAL) | (ended_by[at] == LEAVING)
    earlier = (day < end_on[at]) | ((day == end_on[at]) & ~line_gone)
    end_on[at[earlier]] = day[earlier]
    ended_by[at[earlier]] = cut_by


def _first_reports(
    axis: Axis, entries: Entries, changes: Changes, line: Ints, end_on: Ints, reports: Reports
) -> tuple[Ints, Ints]:
    """Return the intervals whose dressing was reported, and the first report of each.

    A report on the date of a change speaks of the new dressing only if both carry a moment
    and the report's is later than the last change of that date; else of the one before it.
    """
    at = np.searchsorted(changes.key, reports.key, side="right") - 1
    same = np.flatnonzero(at >= 0)
    same = same[changes.key[at[same]] == reports.key[same]]
    change = changes.source[at[same]]
    moment = np.where(change >= 0, entries.at[change], NO_DAY)
    later = (moment != NO_DAY) & (entries.at[reports.source[same]] > moment)
    at[same] -= ~later
    in_place = at >= 0
    in_place[in_place] = line[at[in_place]] == line_of(reports.key[in_place])
    in_place[in_place] = axis.day(reports.key[in_place]) <= end_on[at[in_place]]
    # reports are in order of moment, so those of one interval follow each other
    rows = np.flatnonzero(in_place)
    rows = rows[starts_of_runs(at[rows])]
    return at[rows], rows
