"""Was there more harm than expected from a reference's rates?

Indirect standardisation: the reference's rate in every stratum (line type, age band) gives the
events a group would have had, and the group's own count is compared with that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, IntArray, exposures, quotient, tail_of, whole_numbers
from analysis.stats.intervals import midp_count_interval, midp_lower_tail, midp_upper_tail

LARGE_COUNT = 100
"""Above it, observed or expected, a standardised ratio gets Byar's limits."""
FEWEST_EXPECTED = 1.0
"""With less expected there is no standardised ratio."""


@dataclass(frozen=True)
class StandardisedRatio:
    """Observed over expected events; shape of the counts."""

    observed: IntArray
    expected: FloatArray
    ratio: FloatArray
    lower: FloatArray
    upper: FloatArray
    p: FloatArray
    """Against a ratio of 1."""
    is_byar: npt.NDArray[np.bool_]
    """True: Byar's approximation; False: mid-P."""
    confidence: float


def expected_events(
    reference_events: npt.ArrayLike, reference_days: npt.ArrayLike, line_days: npt.ArrayLike
) -> FloatArray:
    """Events a group would have had at the reference's rate in every stratum.

    Parameters
    ----------
    reference_events, reference_days : array_like of int, shape (strata,)
        The whole programme or another fixed reference.
    line_days : array_like of int, shape (groups, strata) or (strata,)
        Days of each group in each stratum.

    Returns
    -------
    array of float, shape (groups,) or scalar
        nan where a group has days in a stratum in which the reference has none.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    Source: indirect standardisation; the reference rates are taken as known.

    Examples
    --------
    >>> expected_events([10, 2], [1000, 1000], [[300, 0], [0, 500]]).tolist()
    [3.0, 1.0]
    """
    events = whole_numbers(reference_events, "reference_events")
    days = whole_numbers(line_days, "line_days")
    rate = quotient(events, whole_numbers(reference_days, "reference_days"))
    return np.asarray(np.where(days == 0, 0.0, days * rate).sum(axis=-1))


def standardised_ratio(
    observed: npt.ArrayLike, expected: npt.ArrayLike, *, confidence: float = 0.95
) -> StandardisedRatio:
    """Observed over expected events, with limits by the rules of hospital surveillance.

    Parameters
    ----------
    observed : array_like of int
        Events counted.
    expected : array_like of float, same shape
        Events expected from the reference's rates (`expected_events`); taken as known.
    confidence : float in (0, 1)
        Two-sided.

    Returns
    -------
    StandardisedRatio
        Less than one event expected: ratio, limits and p are nan. None observed: the lower limit
        is nan, the upper is given.

    Raises
    ------
    ValueError
        Counts not whole or negative, expected negative, confidence outside (0, 1).

    Notes
    -----
    Source: NHSN's statistics rules (CDC SAS macro SIRcomp, 2014): mid-P limits when observed
    and expected are at most 100, else Byar's approximation. Byar's formula: Breslow and Day,
    Statistical Methods in Cancer Research II (1987), section 2.3 (from memory).

    Examples
    --------
    >>> found = standardised_ratio([5, 0, 2], [2.5, 2.5, 0.5])
    >>> found.ratio.tolist(), found.lower.round(3).tolist(), found.upper.round(3).tolist()
    ([2.0, 0.0, nan], [0.733, nan, nan], [4.433, 1.198, nan])
    """
    counts, means = np.broadcast_arrays(
        whole_numbers(observed, "observed"), exposures(expected, "expected")
    )
    tail = tail_of(confidence)
    is_byar = (counts > LARGE_COUNT) | (means > LARGE_COUNT)
    midp = midp_count_interval(counts, confidence=confidence)
    z = special.ndtri(1 - tail)
    lower = np.where(is_byar, byar_limit(counts, -z), midp.lower)
    upper = np.where(is_byar, byar_limit(counts + 1, z), midp.upper)
    lower = np.where(counts == 0, np.nan, lower)
    p = np.where(is_byar, _byar_p(counts, means), _midp_p(counts, means))
    known = np.where(means < FEWEST_EXPECTED, np.nan, 1.0)
    return StandardisedRatio(
        counts,
        means,
        known * quotient(counts, means),
        known * quotient(lower, means),
        known * quotient(upper, means),
        known * p,
        is_byar,
        confidence,
    )


def byar_limit(count: npt.ArrayLike, z: float) -> FloatArray:
    """Byar's approximate Poisson limit: the cube of a normal one. The upper takes count + 1.

    Examples
    --------
    >>> round(float(byar_limit(101, -1.959964)), 2), round(float(byar_limit(102, 1.959964)), 2)
    (82.26, 122.73)
    """
    at = np.maximum(np.asarray(count, dtype=np.float64), 1)
    limit = at * (1 - 1 / (9 * at) + z / (3 * np.sqrt(at))) ** 3
    return np.asarray(np.where(np.asarray(count) == 0, 0.0, limit))


def _midp_p(count: IntArray, mean: FloatArray) -> FloatArray:
    """Mid-P p-value of a Poisson count against a mean."""
    positive = np.maximum(count, 1)
    below = np.where(count == 0, np.exp(-mean) / 2, midp_lower_tail(positive, mean))
    above = np.where(count == 0, 1.0, midp_upper_tail(positive, mean))
    return np.asarray(np.minimum(1.0, 2 * np.minimum(below, above)))


def _byar_p(count: IntArray, mean: FloatArray) -> FloatArray:
    """P-value that Byar's limits turn around: 1 while the mean lies between both cubes."""
    positive_mean = np.asarray(np.maximum(mean, np.finfo(np.float64).tiny), dtype=np.float64)

    def z(at: FloatArray) -> FloatArray:
        root = np.cbrt(np.divide(positive_mean, at))
        return np.asarray(3 * np.sqrt(at) * (1 - 1 / (9 * at) - root), dtype=np.float64)

    more = special.ndtr(-z(np.asarray(np.maximum(count, 1), dtype=np.float64)))
    fewer = special.ndtr(z(np.asarray(count + 1, dtype=np.float64)))
    more = np.where(count == 0, 1.0, more)
    return np.asarray(np.minimum(1.0, 2 * np.minimum(more, fewer)))
