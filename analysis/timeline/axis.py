"""The days of all lines on one axis, and the arithmetic of spans on it.

A day of a line is one int64, ``line << 20 | day``: the days of one line follow each other
and those of different lines never meet. Sorting, merging and counting then need no loop
over lines. Spans are half-open pairs of such keys.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from analysis.days import NO_DAY

Ints = npt.NDArray[np.int64]
Codes = npt.NDArray[np.int8]
"""Positions in a word list; -1: blank."""
Flags = npt.NDArray[np.bool_]

DAY_BITS = 20
_DAY_MASK = (1 << DAY_BITS) - 1
NEVER = 1 << 40
"""A day after every other: never due, never reported."""


class Spans(NamedTuple):
    """Half-open spans of packed days, sorted, without overlap."""

    start: Ints
    end: Ints


@dataclass(frozen=True)
class Axis:
    """The packed axis: `base` is day 0 of it, `as_of` the as-of day, both since 1970."""

    base: int
    as_of: int

    @classmethod
    def around(cls, as_of: int, days: Iterable[Ints]) -> Axis:
        """Make the axis that reaches from the earliest of `days` to the day after `as_of`.

        Raises
        ------
        ValueError
            The earliest day lies more than 2,800 years before the as-of day.
        """
        base = as_of
        for some in days:
            known = some[some != NO_DAY]
            if len(known):
                base = min(base, int(known.min()))
        if as_of - base >= _DAY_MASK - 1:
            raise ValueError("a date lies more than 2800 years before the as-of day")
        return cls(base, as_of)

    @property
    def later(self) -> int:
        """The day after the as-of day: used for every day that is not yet known."""
        return self.as_of + 1

    def pack(self, line: Ints, day: Ints) -> Ints:
        """Put days (since 1970) of lines on the axis."""
        return (line << DAY_BITS) + (day - self.base)

    def day(self, key: Ints) -> Ints:
        """Return the days since 1970 of packed days."""
        return (key & _DAY_MASK) + self.base


def line_of(key: Ints) -> Ints:
    """Return the lines of packed days."""
    return key >> DAY_BITS


def first_key(position: Ints) -> Ints:
    """Return the first packed day of lines, before each of their days."""
    return position << DAY_BITS


def merged(start: Ints, end: Ints) -> Spans:
    """Join spans in any order into spans that neither overlap nor touch; empty ones go.

    Examples
    --------
    >>> merged(np.array([7, 1, 3]), np.array([9, 3, 5])).start.tolist()
    [1, 7]
    """
    real = start < end
    start, end = start[real], end[real]
    if (start[1:] < start[:-1]).any():
        order = np.argsort(start, kind="stable")
        start, end = start[order], end[order]
    reach = np.maximum.accumulate(end)
    opens = np.ones(len(start), dtype=bool)
    opens[1:] = start[1:] > reach[:-1]
    closes = np.ones(len(start), dtype=bool)
    closes[:-1] = opens[1:]
    return Spans(start[opens], reach[closes])


def without(spans: Spans, taken: Spans) -> Spans:
    """Return what is left of `spans` after the days of `taken` are cut out.

    Examples
    --------
    >>> left = without(Spans(np.array([0]), np.array([9])), Spans(np.array([3]), np.array([5])))
    >>> left.start.tolist(), left.end.tolist()
    ([0, 5], [3, 9])
    """
    # before: one row a bound of either kind of span; after: one row a piece between bounds
    key = np.concatenate([spans.start, spans.end, taken.start, taken.end])
    n, m = len(spans.start), len(taken.start)
    step = np.repeat(np.array([1, -1, -2, 2], dtype=np.int64), [n, n, m, m])
    order = np.argsort(key, kind="stable")
    key, level = key[order], np.cumsum(step[order])
    keep = level[:-1] == 1
    keep &= key[:-1] < key[1:]
    return merged(key[:-1][keep], key[1:][keep])


def common(spans: Spans, others: Spans) -> Spans:
    """Return the days that are in both."""
    return without(spans, without(spans, others))


def holds(spans: Spans, key: Ints) -> Flags:
    """Mark the packed days that lie in one of the spans."""
    at = np.searchsorted(spans.start, key, side="right") - 1
    inside = at >= 0
    inside[inside] = key[inside] < spans.end[at[inside]]
    return inside


def found_in(ordered: Ints, key: Ints) -> Flags:
    """Mark the keys that are among the ordered ones."""
    at = np.searchsorted(ordered, key)
    found = at < len(ordered)
    found[found] = ordered[at[found]] == key[found]
    return found


def within(spans: Spans, low: int, high: int) -> Spans:
    """Return the spans that start in ``[low, high)``."""
    first, stop = np.searchsorted(spans.start, (low, high))
    return Spans(spans.start[first:stop], spans.end[first:stop])


def days_covered(spans: Spans, start: Ints, end: Ints) -> Ints:
    """Count the days of the spans in each ``[start, end)``, by one running sum.

    Examples
    --------
    >>> spans = Spans(np.array([2, 8]), np.array([5, 9]))
    >>> days_covered(spans, np.array([0, 3]), np.array([9, 8])).tolist()
    [4, 2]
    """
    return _days_before(spans, end) - _days_before(spans, start)


def _days_before(spans: Spans, key: Ints) -> Ints:
    if not len(spans.start):
        return np.zeros(len(key), dtype=np.int64)
    full = np.zeros(len(spans.start) + 1, dtype=np.int64)
    np.cumsum(spans.end - spans.start, out=full[1:])
    at = np.searchsorted(spans.start, key, side="right")
    beyond = spans.end[np.maximum(at - 1, 0)] - key
    np.maximum(beyond, 0, out=beyond)
    beyond[at == 0] = 0
    return full[at] - beyond


def starts_of_runs(values: Ints) -> Flags:
    """Mark the first of each run of equal values.

    Examples
    --------
    >>> starts_of_runs(np.array([4, 4, 9])).tolist()
    [True, False, True]
    """
    first = np.ones(len(values), dtype=bool)
    np.not_equal(values[1:], values[:-1], out=first[1:])
    return first


def unique_sorted(values: Ints) -> Ints:
    """Return the different values in order (sorting int64 is faster than hashing it)."""
    values = np.sort(values)
    return values[starts_of_runs(values)]


def repeated(owner_of_row: Ints, owners: Ints, n_owners: int) -> tuple[Ints, Ints]:
    """Pair each row of an owner with each member of that owner.

    Parameters
    ----------
    owner_of_row : int64 array, shape (n,)
        Owner of each row, such as the child of a stay; -1: unknown, the row is dropped.
    owners : int64 array, shape (m,)
        Owner of each member, such as the child of each line.
    n_owners : int
        Owners are 0 … n_owners - 1.

    Returns
    -------
    tuple of int64 arrays
        Rows and members, one pair each.

    Examples
    --------
    >>> repeated(np.array([1, 0]), np.array([0, 1, 1]), 2)[1].tolist()
    [1, 2, 0]
    """
    order = np.argsort(owners, kind="stable")
    counts = np.bincount(owners, minlength=n_owners).astype(np.int64)
    first = np.cumsum(counts) - counts
    rows = np.flatnonzero(owner_of_row >= 0)
    owner = owner_of_row[rows]
    times = counts[owner]
    nth = numbered(times)
    return np.repeat(rows, times), order[np.repeat(first[owner], times) + nth]


def numbered(counts: Ints) -> Ints:
    """Return 0 … count - 1 for each count, one after the other.

    Examples
    --------
    >>> numbered(np.array([2, 0, 3])).tolist()
    [0, 1, 0, 1, 2]
    """
    before = np.cumsum(counts) - counts
    total = int(counts.sum())
    return np.arange(total, dtype=np.int64) - np.repeat(before, counts)
