"""During which days was care in or out of date, a child away, a family silent?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import pairwise

from dashboard.family.history.records import (
    DAILY,
    DRESSING,
    FAMILY,
    NO_ROW,
    FamilyRecords,
    Rows,
    care_of,
    worded,
)
from dashboard.figures import Span

Days = tuple[date, date]
"""First day, and the day after the last."""
OfLine = dict[int, list[Days]]
ONE_DAY = timedelta(days=1)


def spans_of(records: FamilyRecords, as_of: date, since: date = date.min) -> list[Span]:
    """Stretches of care in and out of date, nights away and silence, in order of time.

    Those that ended before `since`, the first day shown, are left out.
    """
    spans = [
        *_care_spans(records),
        *_without_change(records, as_of),
        *_away(records, as_of),
        *_silences(records, as_of),
    ]
    spans = [span for span in spans if span.start_on < span.end_on and span.end_on > since]
    spans.sort(key=lambda span: (span.start_on, span.group, span.track, span.kind))
    return spans


def _care_spans(records: FamilyRecords) -> Iterator[Span]:
    """Of each interval its days in date, and those out of date."""
    for care in care_of(records):
        # A clinic's change during a stay holds for every line of the child, also for one placed later.
        start, end, until = max(care.start_on, care.placed_on), care.end_on, care.allowed_until
        name, of = worded(care.task), (care.table, care.row)
        if care.task != DAILY and until is None:
            label = f"{name}: no change due by the calendar"
            yield Span(care.line_id, care.task, "unscheduled", start, end, label, *of)
        elif care.task != DAILY and until is not None:
            in_date = (start, min(end, until), f"{name} in date")
            yield Span(care.line_id, care.task, "in_date", *in_date, *of)
        if until is not None and end > until:
            late = (max(until, care.placed_on), end, f"{name} out of date")
            yield Span(care.line_id, care.task, "out_of_date", *late, *of)


def _without_change(records: FamilyRecords, now: date) -> Iterator[Span]:
    """Days at home on which no change of the dressing is in force, or a port is not accessed."""
    care = records.intervals
    dressings = _by_line(
        [(line, start, end) for line, _, task, start, end, *_ in care if task == DRESSING], now
    )
    home = _by_line(records.home_periods, now)
    accessed = _by_line(records.accessed_periods, now)
    for line, line_id, _, line_type, placed_on, _ in records.lines:
        at_home = home.get(line, [])
        if line_type == "implanted_port":
            ready = accessed.get(line, [])
            for start, end in _both(_gaps(ready, placed_on, now), at_home):
                of = ("port not accessed", "lines", NO_ROW)
                yield Span(line_id, DRESSING, "not_accessed", start, end, *of)
            at_home = [*_both(at_home, ready)]
        for start, end in _both(_gaps(dressings.get(line, []), placed_on, now), at_home):
            of = ("dressing not scored: no change known", "lines", NO_ROW)
            yield Span(line_id, DRESSING, "unscored", start, end, *of)


def _by_line(spans: Rows, now: date) -> OfLine:
    """Days of each line; what has no end lasts until now."""
    found: OfLine = {}
    for line, start, end in spans:
        found.setdefault(line, []).append((start, now if end is None else end))
    return found


def _gaps(covered: Iterable[Days], since: date, now: date) -> list[Days]:
    """Stretches from a day until now that no span covers; spans do not overlap."""
    covered = [*covered]
    starts = sorted([since, *(end for _, end in covered)])
    ends = sorted([*(start for start, _ in covered), now])
    return [(start, end) for start, end in zip(starts, ends, strict=True) if start < end]


def _both(some: Iterable[Days], others: Iterable[Days]) -> Iterator[Days]:
    """Stretches that lie in a span of both."""
    others = [*others]
    for start, end in some:
        for start_too, end_too in others:
            if max(start, start_too) < min(end, end_too):
                yield max(start, start_too), min(end, end_too)


def _away(records: FamilyRecords, now: date) -> Iterator[Span]:
    """Nights away; they belong to the group of the child's last line."""
    last = {child: line_id for _, line_id, child, *_ in records.lines}
    for child, start, back, place, _, row in records.stays:
        where = "place not recorded" if place is None else place.replace("_", " ")
        label = f"child {child} away: {where}"
        end = now if back is None else min(back, now)
        yield Span(last[child], "away", "away", start, end, label, "stays", row)


def _silences(records: FamilyRecords, now: date) -> Iterator[Span]:
    """Runs of days without any entry of the family that are longer than the limit."""
    since = min(home_from for *_, home_from in records.lines)
    heard = {done_on for _, _, done_on, *_ in records.entries}
    days = [since, *sorted(day for day in heard if since < day <= now), now]
    for last, following in pairwise(days):
        if (following - last).days > records.silent_after_days:
            of = ("nothing logged", "home_log", NO_ROW)
            yield Span(FAMILY, "log", "silent", last + ONE_DAY, following, *of)
