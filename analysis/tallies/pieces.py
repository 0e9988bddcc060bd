"""How are the home line-days of each line cut so that a piece has one month and dressing?

A piece is a run of home line-days of one line inside one calendar month with one dressing
type in force; the age in whole years only changes with a month, since only the month of
birth is known.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.timeline.attributes import Attributes
from analysis.timeline.axis import (
    Axis,
    Ints,
    Spans,
    holds,
    line_of,
    merged,
    numbered,
    repeated,
    starts_of_runs,
    unique_sorted,
    without,
)
from analysis.timeline.build import Coded
from analysis.timeline.coded import DRESSING_TYPES, Lines, words_of
from analysis.vocabulary import Task


@dataclass(frozen=True)
class DressingInForce:
    """Times in which a line wore another dressing than in its registry row."""

    spans: Spans
    worn: Ints
    attributes: Attributes
    """What the registry holds for each day."""

    @classmethod
    def of(cls, axis: Axis, attributes: Attributes, dressing: pd.DataFrame) -> DressingInForce:
        """Read them from the dressing's intervals."""
        line = dressing["line"].to_numpy()
        worn = dressing["dressing_type"].cat.codes.to_numpy().astype(np.int64)
        start, end = days_of(dressing["start_on"]), days_of(dressing["end_on"])
        spans = Spans(axis.pack(line, start), axis.pack(line, end))
        time = attributes.on(spans.start)
        other = (worn != attributes.dressing_type[time]) | (attributes.on(spans.end - 1) != time)
        other &= start < end
        return cls(Spans(spans.start[other], spans.end[other]), worn[other], attributes)

    def on(self, key: Ints) -> Ints:
        """Return the dressing type in force on packed days.

        That of the interval in force; where none is, the one the registry names.
        """
        worn = self.attributes.dressing_type[self.attributes.on(key)].astype(np.int64)
        inside = holds(self.spans, key)
        at = np.searchsorted(self.spans.start, key[inside], side="right") - 1
        worn[inside] = self.worn[at]
        return worn


@dataclass(frozen=True)
class Groups:
    """Holder, month and dressing type as one number each, and back.

    A holder is a line with its family, site and nurse; see `Attributes.holder`.
    """

    first_month: int
    n_months: int
    attributes: Attributes
    line_of_holder: Ints

    @classmethod
    def around(cls, axis: Axis, attributes: Attributes) -> Groups:
        """Reach from the month of the first day of the axis to that of its last."""
        first, last = month_of(np.array([axis.base, axis.later]))
        line = line_of(attributes.start)[starts_of_runs(attributes.holder)]
        return cls(int(first), int(last - first) + 1, attributes, line)

    def of(self, key: Ints, axis: Axis, dressing: DressingInForce) -> Ints:
        """Return one number a group for packed days; in order of holder, month, dressing."""
        month = month_of(axis.day(key)) - self.first_month
        holder = self.attributes.holder[self.attributes.on(key)]
        return (holder * self.n_months + month) * len(DRESSING_TYPES) + dressing.on(key)

    def holder(self, group: Ints) -> Ints:
        """Return the holder of groups."""
        return group // (self.n_months * len(DRESSING_TYPES))

    def line(self, group: Ints) -> Ints:
        """Return the line of groups."""
        return self.line_of_holder[self.holder(group)]

    def month(self, group: Ints) -> Ints:
        """Return the month of groups, as months since 1970-01."""
        return group // len(DRESSING_TYPES) % self.n_months + self.first_month

    def columns(self, group: Ints, lines: Lines, starts: tuple[int, ...]) -> dict[str, Any]:
        """Return the columns line, month, dressing_type and age_band of groups."""
        line, month = self.line(group), self.month(group)
        return {
            "line": self.holder(group),
            "month": month.astype("datetime64[M]").astype("datetime64[s]"),
            "dressing_type": words_of(group % len(DRESSING_TYPES), DRESSING_TYPES),
            "age_band": age_bands(lines, line, month, starts),
        }


def months_of(axis: Axis, periods: Spans) -> Spans:
    """Cut periods at home at the first of each month."""
    # before: one row a home period; after: one row a period and month
    line = line_of(periods.start)
    first_month = int(month_of(np.array([axis.base]))[0])
    months = int(month_of(np.array([axis.later]))[0]) - first_month + 2
    begins = _first_day(np.arange(first_month, first_month + months))
    begins = np.clip(begins, axis.base, axis.later)
    first = np.searchsorted(begins, axis.day(periods.start), side="right") - 1
    count = np.searchsorted(begins, axis.day(periods.end) - 1, side="right") - first
    period = np.repeat(np.arange(len(first), dtype=np.int64), count)
    month = first[period] + numbered(count)
    line = line[period]
    return Spans(
        np.maximum(axis.pack(line, begins[month]), periods.start[period]),
        np.minimum(axis.pack(line, begins[month + 1]), periods.end[period]),
    )


def pieces_of(axis: Axis, periods: Spans, dressing: DressingInForce) -> Spans:
    """Cut periods at home at the first of each month and where the dressing type changes."""
    months = months_of(axis, periods)
    changes = dressing.attributes.start
    cuts = unique_sorted(np.concatenate([dressing.spans.start, dressing.spans.end, changes]))
    cuts = cuts[holds(periods, cuts)]
    # before: one row a period and month; after: one row a period, month and dressing type
    start = unique_sorted(np.concatenate([months.start, cuts]))
    end = periods.end[np.searchsorted(periods.start, start, side="right") - 1]
    end[:-1] = np.minimum(end[:-1], start[1:])
    return Spans(start, end)


def days_of_child(axis: Axis, lines: Lines, periods: Spans) -> Spans:
    """Return the home line-days on which no line of the child placed earlier was at home.

    Lines of one child are taken by day of placement, then by code, so that each day of the
    child belongs to one line. The loop runs over the lines of one child, not over lines.
    """
    by_code = np.argsort(lines.frame["line_id"].to_numpy(dtype=object), kind="stable")
    place = np.empty(len(by_code), dtype=np.int64)
    place[by_code] = np.arange(len(by_code))
    order = np.lexsort((place, lines.placed_on, lines.child))
    rank = np.empty(len(order), dtype=np.int64)
    first = np.flatnonzero(starts_of_runs(lines.child[order]))
    rank[order] = numbered(np.diff(np.append(first, len(order))))
    of = line_of(periods.start)
    as_child = Spans(_of_child(axis, lines, periods.start), _of_child(axis, lines, periods.end))
    own = [Spans(periods.start[rank[of] == 0], periods.end[rank[of] == 0])]
    taken = merged(as_child.start[rank[of] == 0], as_child.end[rank[of] == 0])
    for nth in range(1, int(rank.max()) + 1 if len(rank) else 0):
        here = rank[of] == nth
        on_child = Spans(as_child.start[here], as_child.end[here])
        line_of_child = np.zeros(int(lines.child.max()) + 1, dtype=np.int64)
        line_of_child[lines.child[rank == nth]] = np.flatnonzero(rank == nth)
        sorted_spans = merged(on_child.start, on_child.end)
        left = without(sorted_spans, taken)
        line = line_of_child[line_of(left.start)]
        own.append(
            Spans(axis.pack(line, axis.day(left.start)), axis.pack(line, axis.day(left.end)))
        )
        taken = merged(
            np.concatenate([taken.start, sorted_spans.start]),
            np.concatenate([taken.end, sorted_spans.end]),
        )
    return merged(np.concatenate([s.start for s in own]), np.concatenate([s.end for s in own]))


def days_of_family(coded: Coded, heard: Spans) -> Spans:
    """Return the spans of families on each of the lines that were theirs on those days."""
    axis, attributes = coded.axis, coded.attributes
    times = attributes.spans(axis)
    span, time = repeated(line_of(heard.start), attributes.family, len(coded.lines.family_ids))
    line = line_of(times.start[time])
    return merged(
        np.maximum(axis.pack(line, axis.day(heard.start[span])), times.start[time]),
        np.minimum(axis.pack(line, axis.day(heard.end[span])), times.end[time]),
    )


def age_bands(lines: Lines, line: Ints, month: Ints, starts: tuple[int, ...]) -> pd.Categorical:
    """Return the age band of lines' children in months since 1970-01.

    A child is a year older from the first day of its month of birth on; a month before that
    of birth counts to the first band. Blank where the month of birth is not recorded.
    """
    return bands_of(days_of(lines.frame["born"])[line], month, starts)


def bands_of(born: Ints, month: Ints, starts: tuple[int, ...]) -> pd.Categorical:
    """As `age_bands`, of days of birth and months since 1970."""
    months = month - month_of(np.where(born == NO_DAY, 0, born))
    band = np.searchsorted(np.array(starts), months // 12, side="right") - 1
    codes = np.where(born == NO_DAY, -1, np.maximum(band, 0))
    return words_of(codes, band_labels(starts))


def band_labels(starts: tuple[int, ...]) -> list[str]:
    """Name age bands by their first and last year.

    Examples
    --------
    >>> band_labels((0, 1, 5, 18))
    ['0', '1-4', '5-17', '18+']
    """
    ends = [s - 1 for s in starts[1:]]
    return [
        *(str(a) if a == z else f"{a}-{z}" for a, z in zip(starts, ends, strict=False)),
        f"{starts[-1]}+",
    ]


def month_of(days: Ints) -> Ints:
    """Return months since 1970-01 of days since 1970."""
    return days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)


def of_task(intervals: pd.DataFrame, task: Task) -> pd.DataFrame:
    """Return the intervals of one task; they are in order of task, so nothing is copied."""
    at = list(Task).index(task)
    first, stop = np.searchsorted(intervals["task"].cat.codes.to_numpy(), (at, at + 1))
    return intervals.iloc[first:stop]


def sums(place: Ints, n_places: int, counts: Ints) -> Ints:
    """Add up counts by place 0 … n_places - 1."""
    out = np.zeros(n_places, dtype=np.int64)
    np.add.at(out, place, counts)
    return out


def _first_day(month: Ints) -> Ints:
    return month.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def _of_child(axis: Axis, lines: Lines, key: Ints) -> Ints:
    return axis.pack(lines.child[line_of(key)], axis.day(key))
