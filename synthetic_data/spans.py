"""Which span of an owner holds a day, and which days of an owner come before it?

Owner and day are packed in one whole number, so that all owners lie on one axis and one
sorted search answers for all of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data.draws import BLANK, Ints

_BITS = 20


def pack(owner: Ints, day: Ints) -> Ints:
    """One sortable number for owner and day (days since 1970, up to the year 4800)."""
    return (owner.astype(np.int64) << _BITS) | day.astype(np.int64)


def days_within(keys: Ints, owner: Ints, after: Ints, until: Ints) -> Ints:
    """How many of the sorted packed days lie in ``(after, until]`` of each owner."""
    low = np.searchsorted(keys, pack(owner, after), side="right")
    high = np.searchsorted(keys, pack(owner, until), side="right")
    return high - low


def last_within(keys: Ints, owner: Ints, low: Ints, high: Ints) -> Ints:
    """The latest of the sorted packed days in ``[low, high]`` of each owner, else BLANK."""
    if not keys.size:
        return np.full(owner.size, BLANK, dtype=np.int64)
    at = np.searchsorted(keys, pack(owner, high), side="right") - 1
    found = keys[np.maximum(at, 0)]
    inside = (at >= 0) & (found >= pack(owner, low))
    return np.where(inside, found & ((1 << _BITS) - 1), BLANK)


@dataclass(frozen=True)
class Spans:
    """Disjoint half-open spans ``[start, end)`` in order of owner and day."""

    owner: Ints
    start: Ints
    end: Ints

    @classmethod
    def merged(cls, owner: Ints, start: Ints, end: Ints) -> Spans:
        """Join spans of one owner that overlap or touch.

        Examples
        --------
        >>> spans = Spans.merged(np.array([1, 1, 1]), np.array([5, 8, 20]), np.array([8, 9, 21]))
        >>> spans.start.tolist(), spans.end.tolist()
        ([5, 20], [9, 21])
        """
        order = np.argsort(pack(owner, start), kind="stable")
        first = pack(owner, start)[order]
        last = np.maximum.accumulate(pack(owner, end)[order]) if order.size else first
        new = np.ones(order.size, dtype=bool)
        new[1:] = first[1:] > last[:-1]
        closing = np.roll(new, -1)
        if order.size:
            closing[-1] = True
        mask = (1 << _BITS) - 1
        return cls(owner[order][new], first[new] & mask, last[closing] & mask)

    def holding(self, owner: Ints, day: Ints) -> Ints:
        """Position of the span that holds the day, else BLANK."""
        if not self.owner.size:
            return np.full(owner.size, BLANK, dtype=np.int64)
        at = np.searchsorted(pack(self.owner, self.start), pack(owner, day), side="right") - 1
        there = np.maximum(at, 0)
        inside = (at >= 0) & (self.owner[there] == owner) & (day < self.end[there])
        return np.where(inside, there, BLANK)

    def next_ending_after(self, owner: Ints, day: Ints) -> Ints:
        """Position of the owner's first span with ``end > day``; past its last one if none."""
        return np.searchsorted(pack(self.owner, self.end), pack(owner, day), side="right")
