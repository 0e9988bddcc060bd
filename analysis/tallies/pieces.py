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
from analysis.timeline.axis import (
    Axis,
    Codes,
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
from analysis.timeline.coded import DRESSING_TYPES, Lines, words_of
from analysis.vocabulary import Task


@dataclass(frozen=True)
class DressingInForce:
    """Times in which a line wore another dressing than its registry row names."""

    spans: Spans
    worn: Ints
    by_registry: Codes
    """By line."""

    @classmethod
    def of(cls, axis: Axis, lines: Lines, dressing: pd.DataFrame) -> DressingInForce:
        """Read them from the dressing's intervals."""
        line = dressing["line"].to_numpy()
        worn = dressing["dressing_type"].cat.codes.to_numpy().astype(np.int64)
        other = worn != lines.dressing_type[line]
        start, end = days_of(dressing["start_on"]), days_of(dressing["end_on"])
        other &= start < end
        line, worn = line[other], worn[other]
        spans = Spans(axis.pack(line, start[other]), axis.pack(line, end[other]))
        return cls(spans, worn, lines.dressing_type)

    def on(self, key: Ints) -> Ints:
        """Return the dressing type in force on packed days.

        That of the interval in force; where none is, the one the registry names.
        """
        worn = self.by_registry[line_of(key)].astype(np.int64)
        inside = holds(self.spans, key)
        at = np.searchsorted(self.spans.start, key[inside], side="right") - 1
        worn[inside] = self.worn[at]
        return worn


@dataclass(frozen=True)
class Groups:
    """Line, month and dressing type as one number each, and back."""

    first_month: int
    n_months: int

    @classmethod
    def around(cls, axis: Axis) -> Groups:
        """Reach from the month of the first day of the axis to that of its last."""
        first, last = month_of(np.array([axis.base, axis.later]))
        return cls(int(first), int(last - first) + 1)

    def of(self, key: Ints, axis: Axis, dressing: DressingInForce) -> Ints:
        """Return one number a group for packed days; in order of line, month, dressing type."""
        month = month_of(axis.day(key)) - self.first_month
        return (line_of(key) * self.n_months + month) * len(DRESSING_TYPES) + dressing.on(key)

    def line(self, group: Ints) -> Ints:
        """Return the line of groups."""
        return group // (self.n_months * len(DRESSING_TYPES))

    def month(self, group: Ints) -> Ints:
        """Return the month of groups, as months since 1970-01."""
        return group // len(DRESSING_TYPES) % self.n_months + self.first_month

    def columns(self, group: Ints, lines: Lines, starts: tuple[int, ...]) -> dict[str, Any]:
        """Return the columns line, month, dressing_type and age_band of groups."""
        line, month = self.line(group), self.month(group)
        return {
            "line": line,
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
    cuts = unique_sorted(np.concatenate([dressing.spans.start, dressing.spans.end]))
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
    order = np.lexsort((np.arange(len(lines.child)), lines.placed_on, lines.child))
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


def days_of_family(axis: Axis, lines: Lines, heard: Spans) -> Spans:
    """Lay the spans of families on each of their lines."""
    span, line = repeated(line_of(heard.start), lines.family, len(lines.family_ids))
    return merged(
        axis.pack(line, axis.day(heard.start[span])), axis.pack(line, axis.day(heard.end[span]))
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
