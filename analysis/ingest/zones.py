"""At which moment, and on which day, does a clock of a time zone show a time?

The zone's changes are laid out as a table of spans with one offset each, found by asking
`zoneinfo` once a day and then halving; the arrays are looked up in it, so that no
row is handled alone and no zone data but Python's own is needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

SECOND = 1_000_000
DAY = 86_400 * SECOND
"""Length of a second and of a day in microseconds."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Spans:
    """Spans of one offset: `starts` in UTC and `offsets` to local time, microseconds, shape (n,)."""

    starts: Ints
    offsets: Ints


@dataclass(frozen=True)
class Located:
    """Local clock times as moments; all arrays have the shape of the input.

    `utc` is microseconds since 1970-01-01 UTC; `never` marks clock times that the zone
    skipped (their `utc` means nothing), `twice` those it showed twice (the earlier counts).
    """

    utc: Ints
    never: Mask
    twice: Mask


@lru_cache(maxsize=4096)
def _changes_of_year(zone: str, year: int) -> tuple[tuple[int, int], ...]:
    """Changes of offset within a UTC year: (first second, new offset in seconds)."""
    clock = ZoneInfo(zone)

    def offset(second: int) -> int:
        shown = (_EPOCH + timedelta(seconds=second)).astimezone(clock).utcoffset()
        assert shown is not None
        return round(shown.total_seconds())

    first = int((datetime(year, 1, 1, tzinfo=UTC) - _EPOCH).total_seconds())
    last = int((datetime(year + 1, 1, 1, tzinfo=UTC) - _EPOCH).total_seconds())
    found = [(first, offset(first))]
    for low in range(first, last, 86_400):
        high = min(low + 86_400, last)
        if offset(low) == offset(high):
            continue
        before, after = low, high
        while after - before > 1:
            middle = (before + after) // 2
            if offset(middle) == offset(low):
                before = middle
            else:
                after = middle
        found.append((after, offset(after)))
    return tuple(found)


def _spans(zone: str, moments: Ints) -> Spans:
    """The zone's spans over the years the moments touch, and one more at each end."""
    if len(moments) == 0:
        return Spans(np.array([0], np.int64), np.array([0], np.int64))
    years = np.array([moments.min(), moments.max()], "datetime64[us]").astype("datetime64[Y]")
    low, high = (int(y) for y in years.astype(np.int64) + 1970)
    changes: list[tuple[int, int]] = []
    first, last = np.clip([low - 1, high + 1], 1901, 2199)
    for year in range(first, last + 1):
        for start, offset in _changes_of_year(zone, year):
            if not changes or changes[-1][1] != offset:
                changes.append((start, offset))
    starts = np.array([c[0] for c in changes], np.int64) * SECOND
    offsets = np.array([c[1] for c in changes], np.int64) * SECOND
    return Spans(starts, offsets)


def to_utc(local: Ints, zone: str) -> Located:
    """Moments at which a clock of the zone shows the given times.

    Parameters
    ----------
    local : int64 array, shape (n,)
        Clock time as microseconds since 1970-01-01 00:00 on that clock.
    zone : str
        IANA name of the zone.

    Returns
    -------
    Located
        A time shown twice (clocks set back) is the earlier moment and marked; a time never
        shown (clocks set forward) is marked.

    Examples
    --------
    >>> at = np.array([datetime(2031, 3, 30, 2, 30, tzinfo=UTC).timestamp() * 1e6], np.int64)
    >>> bool(to_utc(at, "Europe/Berlin").never[0])
    True
    """
    spans = _spans(zone, local)
    shown_from = spans.starts + spans.offsets
    shown_until = np.append(spans.starts[1:] + spans.offsets[:-1], np.iinfo(np.int64).max)
    # One span per clock time: the first that still shows it; the next one may show it again.
    at = np.searchsorted(shown_until, local, side="right")
    never = (local < shown_from[at]) & (at > 0)
    following = np.minimum(at + 1, len(shown_from) - 1)
    twice = (following > at) & (local >= shown_from[following])
    return Located(local - spans.offsets[at], never, twice)


def to_local(utc: Ints, zone: str) -> Ints:
    """Clock time in the zone at each moment, as microseconds since 1970-01-01 00:00 on that clock.

    Parameters
    ----------
    utc : int64 array, shape (n,)
        Microseconds since 1970-01-01 UTC.
    zone : str
        IANA name of the zone.
    """
    spans = _spans(zone, utc)
    at = np.maximum(np.searchsorted(spans.starts, utc, side="right") - 1, 0)
    return utc + spans.offsets[at]


def local_days(utc: Ints, zone: str) -> Ints:
    """Day on the zone's calendar at each moment.

    Parameters
    ----------
    utc : int64 array, shape (n,)
        Microseconds since 1970-01-01 UTC.
    zone : str
        IANA name of the zone.

    Returns
    -------
    int64 array, shape (n,)
        Whole days since 1970-01-01.
    """
    return np.floor_divide(to_local(utc, zone), DAY)
