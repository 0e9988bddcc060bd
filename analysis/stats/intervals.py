"""How sure is a count, a rate per 1000 line-days or a share?

All intervals are central: each tail holds half of what the confidence leaves. An exact interval
never covers less often than it claims and so is wide when events are few; a mid-P interval covers
about as often as it claims on average and is shorter. Functions are named by their method: there
is no default.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import (
    FloatArray,
    IntArray,
    quotient,
    share_counts,
    tail_of,
    whole_numbers,
)

PER = 1000
"""Rates are stated per this many line-days."""


@dataclass(frozen=True)
class CountInterval:
    """Limits of the number of events to be expected; fields have the shape of the counts."""

    events: IntArray
    lower: FloatArray
    upper: FloatArray
    confidence: float


@dataclass(frozen=True)
class RateInterval:
    """Rate and limits, events per 1000 line-days; nan where there are no line-days."""

    events: IntArray
    line_days: IntArray
    rate_per_1000: FloatArray
    lower: FloatArray
    upper: FloatArray
    confidence: float


@dataclass(frozen=True)
class ShareInterval:
    """Share (0-1) and limits; nan where the denominator is 0."""

    numerator: IntArray
    denominator: IntArray
    share: FloatArray
    lower: FloatArray
    upper: FloatArray
    confidence: float


def exact_count_interval(events: npt.ArrayLike, *, confidence: float = 0.95) -> CountInterval:
    """Exact (Garwood) limits of a Poisson mean.

    Parameters
    ----------
    events : array_like of int
        Events counted; 0 is allowed.
    confidence : float in (0, 1)
        Two-sided.

    Returns
    -------
    CountInterval
        Unit: events. `lower` is exactly 0 where no event was counted; `upper` is always positive.

    Raises
    ------
    ValueError
        Counts that are negative or not whole, confidence outside (0, 1).

    Notes
    -----
    Source: Garwood, Biometrika 1936;28:437 (from memory). The limits are the chi-square quantiles
    halved, here as inverse incomplete gamma functions.

    Examples
    --------
    >>> found = exact_count_interval([0, 5])
    >>> found.lower.round(6).tolist(), found.upper.round(6).tolist()
    ([0.0, 1.623486], [3.688879, 11.668332])
    """
    counts = whole_numbers(events, "events")
    tail = tail_of(confidence)
    lower = np.where(counts == 0, 0.0, special.gammaincinv(np.maximum(counts, 1), tail))
    upper = special.gammainccinv(counts + 1, tail)
    return CountInterval(counts, _floats(lower), _floats(upper), confidence)


def midp_count_interval(events: npt.ArrayLike, *, confidence: float = 0.95) -> CountInterval:
    """Mid-P limits of a Poisson mean: the count itself weighs half in either tail.

    Parameters and errors are those of `exact_count_interval`.

    Returns
    -------
    CountInterval
        Unit: events. `lower` is exactly 0 where no event was counted; there `upper` is
        ``-log(1 - confidence)``.

    Notes
    -----
    Source: mid-P limits as in NHSN's statistics rules (CDC SAS macro SIRcomp, 2014).

    Examples
    --------
    >>> found = midp_count_interval([0, 5])
    >>> found.lower.round(6).tolist(), found.upper.round(6).tolist()
    ([0.0, 1.831995], [2.995732, 11.082416])
    """
    counts = whole_numbers(events, "events")
    tail = tail_of(confidence)
    distinct, place = np.unique(counts, return_inverse=True)
    positive = np.maximum(distinct, 1)

    def above(mean: FloatArray, count: IntArray) -> FloatArray:
        return midp_upper_tail(count, mean) - tail

    def below(mean: FloatArray, count: IntArray) -> FloatArray:
        return midp_lower_tail(count, mean) - tail

    # A mid-P tail lies between two exact ones, and so does the limit.
    lower = _root(
        above,
        special.gammaincinv(positive, tail),
        special.gammaincinv(positive + 1, tail),
        positive,
    )
    upper = _root(
        below,
        special.gammainccinv(positive, tail),
        special.gammainccinv(positive + 1, tail),
        positive,
    )
    none = distinct == 0
    lower = np.where(none, 0.0, lower)
    upper = np.where(none, -np.log(2 * tail), upper)
    shape = counts.shape
    return CountInterval(
        counts,
        _floats(lower[place].reshape(shape)),
        _floats(upper[place].reshape(shape)),
        confidence,
    )


def exact_rate_interval(
    events: npt.ArrayLike, line_days: npt.ArrayLike, *, confidence: float = 0.95
) -> RateInterval:
    """Events per 1000 line-days with the exact (Garwood) interval.

    The interval holds the true rates that a central Poisson test at this confidence would not
    reject; it takes events as independent.

    Parameters
    ----------
    events : array_like of int, shape (n,) or scalar
        Events counted. Zero gives a lower limit of exactly 0 and still an upper limit.
    line_days : array_like of int, same shape
        Days on which a line was in place. Where 0 there is no rate: rate and limits are nan,
        never 0, also when an event was counted.
    confidence : float in (0, 1)
        Two-sided.

    Returns
    -------
    RateInterval
        Unit: events per 1000 line-days.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole, confidence outside (0, 1). The message
        names the first position at fault.

    Notes
    -----
    Source: definitions §5; Garwood, Biometrika 1936;28:437 (from memory).

    Examples
    --------
    >>> found = exact_rate_interval([15, 0, 0], [400, 400, 0])
    >>> found.rate_per_1000.round(2).tolist()
    [37.5, 0.0, nan]
    >>> found.lower.round(2).tolist(), found.upper.round(2).tolist()
    ([20.99, 0.0, nan], [61.85, 9.22, nan])
    """
    days = whole_numbers(line_days, "line_days")
    return _per_line_days(exact_count_interval(events, confidence=confidence), days)


def midp_rate_interval(
    events: npt.ArrayLike, line_days: npt.ArrayLike, *, confidence: float = 0.95
) -> RateInterval:
    """Events per 1000 line-days with the mid-P interval.

    Parameters, result and errors are those of `exact_rate_interval`.

    Notes
    -----
    Source: definitions §5; method as `midp_count_interval`.

    Examples
    --------
    >>> found = midp_rate_interval(0, 1000)
    >>> float(found.lower), round(float(found.upper), 4)
    (0.0, 2.9957)
    """
    days = whole_numbers(line_days, "line_days")
    return _per_line_days(midp_count_interval(events, confidence=confidence), days)


def exact_share_interval(
    numerator: npt.ArrayLike, denominator: npt.ArrayLike, *, confidence: float = 0.95
) -> ShareInterval:
    """Share of independent yes-or-no outcomes with the exact (Clopper-Pearson) interval.

    Not for days or intervals of the same family, which are not independent: see
    `analysis.stats.bootstrap.cluster_share_interval`.

    Parameters
    ----------
    numerator, denominator : array_like of int, same shape
        Outcomes of interest, and all outcomes. Where `denominator` is 0 the share and its limits
        are nan.
    confidence : float in (0, 1)
        Two-sided.

    Returns
    -------
    ShareInterval
        Shares, 0-1. `lower` is exactly 0 where the numerator is 0, `upper` exactly 1 where it
        equals the denominator.

    Raises
    ------
    ValueError
        Counts that are negative, not whole or above their denominator; confidence outside (0, 1).

    Notes
    -----
    Source: Clopper and Pearson, Biometrika 1934;26:404 (from memory): beta quantiles.

    Examples
    --------
    >>> found = exact_share_interval([0, 3], [3, 3])
    >>> found.lower.round(4).tolist(), found.upper.round(4).tolist()
    ([0.0, 0.2924], [0.7076, 1.0])
    """
    yes, out_of = share_counts(numerator, denominator)
    tail = tail_of(confidence)
    no = out_of - yes
    lower = np.where(yes == 0, 0.0, special.betaincinv(np.maximum(yes, 1), no + 1, tail))
    upper = np.where(no == 0, 1.0, special.betainccinv(yes + 1, np.maximum(no, 1), tail))
    empty = out_of == 0
    return ShareInterval(
        yes,
        out_of,
        quotient(yes, out_of),
        np.where(empty, np.nan, lower),
        np.where(empty, np.nan, upper),
        confidence,
    )


def midp_upper_tail(events: npt.ArrayLike, mean: npt.ArrayLike) -> FloatArray:
    """P(X > events) + P(X = events) / 2 of a Poisson count, `events` at least 1.

    Examples
    --------
    >>> round(float(midp_upper_tail(5, 1.831995)), 4)
    0.025
    """
    count = np.asarray(events)
    return _floats((special.gammainc(count, mean) + special.gammainc(count + 1, mean)) / 2)


def midp_lower_tail(events: npt.ArrayLike, mean: npt.ArrayLike) -> FloatArray:
    """P(X < events) + P(X = events) / 2 of a Poisson count, `events` at least 1.

    Examples
    --------
    >>> round(float(midp_lower_tail(5, 11.082416)), 4)
    0.025
    """
    count = np.asarray(events)
    return _floats((special.gammaincc(count, mean) + special.gammaincc(count + 1, mean)) / 2)


def _per_line_days(counts: CountInterval, line_days: IntArray) -> RateInterval:
    """Divide a count and its limits by the line-days."""
    events, days, lower, upper = np.broadcast_arrays(
        counts.events, line_days, counts.lower, counts.upper
    )
    return RateInterval(
        events,
        days,
        PER * quotient(events, days),
        PER * quotient(lower, days),
        PER * quotient(upper, days),
        counts.confidence,
    )


def _root(
    function: Callable[[FloatArray, IntArray], FloatArray],
    low: FloatArray,
    high: FloatArray,
    args: IntArray,
) -> FloatArray:
    """Where a monotone function crosses 0, element by element."""
    from scipy.optimize import elementwise  # takes long to load and is seldom needed

    found = elementwise.find_root(function, (low, high), args=(args,))
    return _floats(found.x)


def _floats(values: npt.ArrayLike) -> FloatArray:
    """As a float64 array."""
    return np.asarray(values, dtype=np.float64)
