"""Does harm differ between two groups or periods?

Two counts are compared given their sum: the first is then binomial, for any common rate. The
p-value is twice the smaller tail, so that it falls below ``1 - confidence`` exactly when the
central limits leave 1 out. Events are taken as independent: where the same families have several,
use `analysis.stats.regression.clustered_rate_ratio`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, IntArray, exposures, quotient, tail_of, whole_numbers


@dataclass(frozen=True)
class RateRatio:
    """First rate over second; all fields have the shape of the counts."""

    ratio: FloatArray
    """inf where only the second has no events; nan where neither has, or one has no days."""
    lower: FloatArray
    upper: FloatArray
    p: FloatArray
    """Against a ratio of 1."""
    confidence: float
    method: str


def exact_rate_ratio(
    first_events: npt.ArrayLike,
    first_days: npt.ArrayLike,
    second_events: npt.ArrayLike,
    second_days: npt.ArrayLike,
    *,
    confidence: float = 0.95,
) -> RateRatio:
    """Ratio of two rates with the exact conditional interval.

    Parameters
    ----------
    first_events, second_events : array_like of int
        Events counted.
    first_days, second_days : array_like
        Line-days, or expected events when standardised ratios are compared; 0 or more.
    confidence : float in (0, 1)
        Two-sided; each tail holds half of the rest.

    Returns
    -------
    RateRatio
        No events in the first: lower exactly 0. None in the second: ratio and upper limit inf.
        None in either: nothing is known, ratio nan, limits 0 and inf, p 1. No days in one: all nan.

    Raises
    ------
    ValueError
        Counts not whole or negative, days negative or not finite, confidence outside (0, 1).

    Notes
    -----
    Source: conditional binomial with Clopper-Pearson limits, as in Fay, exactci vignette (central
    method).

    Examples
    --------
    >>> found = exact_rate_ratio(2, 17877, 10, 20000)
    >>> [round(float(v), 4) for v in (found.ratio, found.lower, found.upper, found.p)]
    [0.2238, 0.0238, 1.05, 0.0606]
    """
    pair = _Pair.of(first_events, first_days, second_events, second_days)
    tail = tail_of(confidence)
    low = special.betaincinv(np.maximum(pair.first, 1), pair.second + 1, tail)
    low_other = special.betaincinv(np.maximum(pair.second, 1), pair.first + 1, tail)
    p = exact_ratio_p(first_events, first_days, second_events, second_days)
    return pair.ratio(low, low_other, p, confidence, "exact")


def midp_rate_ratio(
    first_events: npt.ArrayLike,
    first_days: npt.ArrayLike,
    second_events: npt.ArrayLike,
    second_days: npt.ArrayLike,
    *,
    confidence: float = 0.95,
) -> RateRatio:
    """Ratio of two rates with the mid-P conditional interval.

    Parameters, edge cases and errors are those of `exact_rate_ratio`.

    Notes
    -----
    Source: conditional binomial mid-P, as in NHSN's statistics rules (CDC SAS macro BINOM, 2014).

    Examples
    --------
    >>> found = midp_rate_ratio(17, 100025, 3, 122268)
    >>> [round(float(v), 2) for v in (found.ratio, found.lower, found.upper)]
    [6.93, 2.21, 29.63]
    """
    pair = _Pair.of(first_events, first_days, second_events, second_days)
    tail = tail_of(confidence)
    low = _midp_lowest_chance(pair.first, pair.second, tail)
    low_other = _midp_lowest_chance(pair.second, pair.first, tail)
    p = midp_ratio_p(first_events, first_days, second_events, second_days)
    return pair.ratio(low, low_other, p, confidence, "mid-P")


def exact_ratio_p(
    first_events: npt.ArrayLike,
    first_days: npt.ArrayLike,
    second_events: npt.ArrayLike,
    second_days: npt.ArrayLike,
    *,
    ratio: float = 1.0,
) -> FloatArray:
    """Central exact p-value of a given true ratio: twice the smaller tail, at most 1.

    Parameters
    ----------
    first_events, first_days, second_events, second_days : array_like
        As in `exact_rate_ratio`.
    ratio : float
        The true ratio that is tested; positive.

    Returns
    -------
    array of float
        1 where there are no events; nan where one has no days.

    Raises
    ------
    ValueError
        As `exact_rate_ratio`, or a ratio that is not positive.

    Examples
    --------
    >>> round(float(exact_ratio_p(2, 17877, 10, 20000)), 5)
    0.06056
    """
    pair = _Pair.of(first_events, first_days, second_events, second_days)
    chance = pair.chance(ratio)
    at_most = _at_least(pair.second, pair.first, 1 - chance)
    at_least = _at_least(pair.first, pair.second, chance)
    return pair.known(np.minimum(1.0, 2 * np.minimum(at_most, at_least)))


def midp_ratio_p(
    first_events: npt.ArrayLike,
    first_days: npt.ArrayLike,
    second_events: npt.ArrayLike,
    second_days: npt.ArrayLike,
    *,
    ratio: float = 1.0,
) -> FloatArray:
    """Mid-P p-value of a given true ratio: twice the smaller tail.

    Parameters, result and errors are those of `exact_ratio_p`.

    Examples
    --------
    >>> round(float(midp_ratio_p(17, 100025, 3, 122268)), 7)
    0.0003127
    """
    pair = _Pair.of(first_events, first_days, second_events, second_days)
    chance = pair.chance(ratio)
    below = _midp_tail(pair.second, pair.first, 1 - chance)
    above = _midp_tail(pair.first, pair.second, chance)
    return pair.known(np.minimum(1.0, 2 * np.minimum(below, above)))


@dataclass(frozen=True)
class _Pair:
    """Two counts and their days, of one shape."""

    first: IntArray
    first_days: FloatArray
    second: IntArray
    second_days: FloatArray

    @classmethod
    def of(
        cls,
        first_events: npt.ArrayLike,
        first_days: npt.ArrayLike,
        second_events: npt.ArrayLike,
        second_days: npt.ArrayLike,
    ) -> _Pair:
        """Check and broadcast."""
        return cls(
            *np.broadcast_arrays(
                whole_numbers(first_events, "first_events"),
                exposures(first_days, "first_days"),
                whole_numbers(second_events, "second_events"),
                exposures(second_days, "second_days"),
            )
        )

    def chance(self, ratio: float) -> FloatArray:
        """Probability that an event falls in the first, were `ratio` true."""
        if not (ratio > 0 and np.isfinite(ratio)):
            raise ValueError(f"ratio must be positive, but is {ratio!r}")
        return quotient(ratio * self.first_days, ratio * self.first_days + self.second_days)

    def known(self, values: FloatArray) -> FloatArray:
        """Nan where one of the two has no days."""
        return np.where((self.first_days > 0) & (self.second_days > 0), values, np.nan)

    def ratio(
        self, low: FloatArray, low_other: FloatArray, p: FloatArray, confidence: float, method: str
    ) -> RateRatio:
        """Turn the lowest chance of the first, and of the second, into limits of the ratio."""
        scale = quotient(self.second_days, self.first_days)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = self.first / self.second * scale
            lower = np.where(self.first == 0, 0.0, low / (1 - low)) * scale
            upper = np.where(self.second == 0, np.inf, (1 - low_other) / low_other) * scale
        return RateRatio(
            self.known(ratio), self.known(lower), self.known(upper), p, confidence, method
        )


def _at_least(count: IntArray, rest: IntArray, chance: FloatArray) -> FloatArray:
    """P(X >= count) of a binomial out of count + rest."""
    tail = special.betainc(np.maximum(count, 1), rest + 1, chance)
    return np.asarray(np.where(count == 0, 1.0, tail))


def _midp_tail(count: IntArray, rest: IntArray, chance: FloatArray) -> FloatArray:
    """P(X > count) + P(X = count) / 2 of a binomial out of count + rest."""
    more = np.where(rest == 0, 0.0, special.betainc(count + 1, np.maximum(rest, 1), chance))
    return np.asarray((_at_least(count, rest, chance) + more) / 2)


def _midp_lowest_chance(count: IntArray, rest: IntArray, tail: float) -> FloatArray:
    """Chance at which the upper mid-P tail is `tail`; of no use where `count` is 0."""
    positive = np.maximum(count, 1)

    def above(chance: FloatArray, hits: IntArray, misses: IntArray) -> FloatArray:
        return _midp_tail(hits, misses, chance) - tail

    low = special.betaincinv(positive, rest + 1, tail)
    high = np.where(rest == 0, 1.0, special.betaincinv(positive + 1, np.maximum(rest, 1), tail))
    from scipy.optimize import elementwise  # takes long to load and is seldom needed

    found = elementwise.find_root(above, (low, high), args=(positive, rest))
    return np.asarray(found.x)
