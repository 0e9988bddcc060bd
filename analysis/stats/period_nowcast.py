"""What will a month or quarter amount to once late reports are in?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.delays import (
    MOST,
    REPLICATES,
    SEED,
    DelayTriangle,
    delay_distribution,
    dispersion_of,
    simulated_shares,
)
from analysis.stats.inputs import FloatArray, quotient, tail_of, whole_numbers


@dataclass(frozen=True)
class PeriodNowcast:
    """What periods will amount to when all reports are in; arrays of shape (periods,)."""

    completeness: FloatArray
    """Share of the period's reports that have come, on average; nan where it is not known."""
    expected_total: FloatArray
    """nan where completeness is not known or 0."""
    lower: FloatArray
    upper: FloatArray
    """nan where completeness is not known or 0: no limit can be given."""
    confidence: float


def nowcast_periods(
    triangle: DelayTriangle,
    observed: npt.ArrayLike,
    days: npt.ArrayLike,
    *,
    confidence: float = 0.95,
    replicates: int = REPLICATES,
    seed: int = SEED,
) -> PeriodNowcast:
    """Estimate what periods of several days will amount to, from the delays of a day's reports.

    The delays may be those of more reports than are counted, such as all log entries for the
    skin events that they show.

    Parameters
    ----------
    triangle : DelayTriangle
        Reports by day of origin and delay.
    observed : array_like of int, shape (periods,)
        Reports counted so far in each period.
    days : array_like of int, shape (periods, delays)
        Days of each period by their age: in column d those of which a delay of d and no longer
        one can have come by now, in the last column also all older days.
    confidence : float in (0, 1)
        Of the limits, two-sided.
    replicates : int
        Draws for the limits.
    seed : int
        Of the random generator.

    Returns
    -------
    PeriodNowcast
        Days of a period count alike. A period of which every day is older than the longest delay
        is complete and has its count for all three. No reports in the triangle: not known.

    Raises
    ------
    ValueError
        Delays not observable in order, counts negative or not whole, tables of unequal size,
        confidence outside (0, 1).

    Notes
    -----
    Source: as `nowcast`, whose limits these are with a period's mean completeness for that of
    one origin; the reports still to come are Poisson with a gamma mean.

    Examples
    --------
    >>> from analysis.stats.delays import delay_triangle
    >>> delays = delay_triangle([0, 0, 0, 0, 1, 1], [0, 0, 1, 1, 0, 0], origins=2)
    >>> found = nowcast_periods(delays, [4, 2], [[0, 1], [1, 0]])
    >>> found.completeness.tolist(), found.expected_total.tolist()
    ([1.0, 0.5], [4.0, 4.0])
    """
    seen, ages = whole_numbers(observed, "observed"), whole_numbers(days, "days")
    distribution = delay_distribution(triangle)
    delays = len(distribution.share_within)
    if ages.shape != (len(seen), delays):
        raise ValueError(
            f"days must have one row a period and one column a delay, {(len(seen), delays)}, but "
            f"is {ages.shape}"
        )
    tail = tail_of(confidence)
    weight = quotient(ages, ages.sum(axis=1)[:, None])
    share = np.where(ages > 0, weight * distribution.share_within, 0.0).sum(axis=1)
    whole = ages[:, :-1].sum(axis=1) == 0
    known = bool(distribution.reports.sum() > 0)
    completeness = np.where(known & (ages.sum(axis=1) > 0), np.where(whole, 1.0, share), math.nan)
    total = np.where(completeness > 0, quotient(seen, completeness), math.nan)
    dispersion = dispersion_of(triangle)
    within, rng = simulated_shares(distribution, dispersion, replicates, seed)
    within = np.clip(within @ np.nan_to_num(weight).T, 1 / MOST, 1.0)
    mean = rng.gamma(seen / dispersion + 0.5, size=within.shape) * (1 - within) / within
    to_come = dispersion * rng.poisson(np.minimum(mean, MOST))
    lower, upper = seen + np.quantile(to_come, [tail, 1 - tail], axis=0)
    unknown = ~(completeness > 0)
    lower = np.where(unknown, math.nan, np.where(whole, seen, lower))
    upper = np.where(unknown, math.nan, np.where(whole, seen, upper))
    return PeriodNowcast(completeness, total, lower, upper, confidence)
