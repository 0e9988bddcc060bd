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


def expected_from_others(
    events: npt.ArrayLike, line_days: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Events each group would have had at the rates of all other groups together.

    A group in its own reference pulls the reference towards itself: with half of all line-days a
    true ratio of 2 would read 1.33.

    Parameters
    ----------
    events, line_days : array_like of int, shape (groups, strata)
        Counts and days of every group in every stratum.

    Returns
    -------
    expected, reference : array of float, shape (groups,)
        Expected events, and the number of reference events that would make them as uncertain as
        they are. nan where a group has days in a stratum in which the others have none.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    Source: indirect standardisation with an external reference; the reference's uncertainty is
    that of its Poisson counts by stratum, whose relative variance is 1 / `reference`.

    Examples
    --------
    >>> expected, reference = expected_from_others([[10], [5]], [[100], [100]])
    >>> expected.tolist(), reference.tolist()
    ([5.0, 10.0], [5.0, 10.0])
    """
    counts, days = whole_numbers(events, "events"), whole_numbers(line_days, "line_days")
    others, other_days = counts.sum(axis=0) - counts, days.sum(axis=0) - days
    share = np.where(days == 0, 0.0, quotient(days, other_days))
    expected = np.asarray((share * others).sum(axis=-1), dtype=np.float64)
    variance = np.asarray((share**2 * others).sum(axis=-1), dtype=np.float64)
    return expected, quotient(expected**2, variance)


def standardised_ratio(
    observed: npt.ArrayLike,
    expected: npt.ArrayLike,
    *,
    reference: npt.ArrayLike | None = None,
    confidence: float = 0.95,
) -> StandardisedRatio:
    """Observed over expected events, with limits by the rules of hospital surveillance.

    Parameters
    ----------
    observed : array_like of int
        Events counted.
    expected : array_like of float, same shape
        Events expected from the reference's rates (`expected_from_others`); taken as known unless
        `reference` is given.
    reference : array_like of float, same shape, optional
        Number of reference events behind what is expected (`expected_from_others`): limits and p
        are then those of comparing two counts.
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
    Statistical Methods in Cancer Research II (1987), section 2.3 (from memory). With `reference`:
    conditional exact limits of the ratio of two Poisson means, which hold for a reference count
    that is not whole (beta quantiles).

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
    if reference is not None:
        behind = np.asarray(reference, dtype=np.float64)
        lower, upper, p = _against_counts(counts, means, behind, tail)
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


def _against_counts(
    counts: IntArray, means: FloatArray, reference: FloatArray, tail: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Limits in events and p, given observed and reference events together."""
    usable = (means > 0) & (reference > 0)
    size, one_or_more = np.where(usable, reference, 1.0), np.maximum(counts, 1)
    low = special.betaincinv(one_or_more, size + 1, tail)
    high = special.betaincinv(counts + 1, size, 1 - tail)
    even = means / (means + size)
    above = np.where(counts > 0, special.betainc(one_or_more, size + 1, even), 1.0)
    below = special.betaincc(counts + 1, size, even)
    p = np.minimum(1.0, 2 * np.minimum(above, below))
    lower = np.where(counts > 0, size * low / (1 - low), np.nan)
    upper = size * high / (1 - high)
    return (
        np.where(usable, lower, np.nan),
        np.where(usable, upper, np.nan),
        np.where(usable, p, np.nan),
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
