"""Do counts differ more between units than chance alone makes them, and what then?

Units are families (a few have most of the events) or months (a bad batch, a season). Where counts
are overdispersed, Poisson limits are too narrow; the limits here are those of fewer, independent
events.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import IntArray, exposures, tail_of, whole_numbers
from analysis.stats.intervals import PER

FEWEST_FAMILIES = 5
"""With events in the programme of fewer families, no limits are adjusted for families that differ."""
REPLICATES = 1999
SEED = 20_011


@dataclass(frozen=True)
class Overdispersion:
    """Test of equal rates against rates that differ between units."""

    units: int
    """Units with line-days."""
    events: int
    dispersion: float
    """Pearson's: about 1 when counts are Poisson; nan without events or with one unit."""
    p: float
    """One-sided; nan without events or with one unit."""


@dataclass(frozen=True)
class ClusteredRate:
    """One rate and limits, events per 1000 line-days, with families as the independent units."""

    events: int
    line_days: int
    families: int
    rate_per_1000: float
    lower: float
    upper: float
    design_effect: float
    """How many times the count's variance is that of independent events."""
    confidence: float


def overdispersion(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    *,
    replicates: int = REPLICATES,
    seed: int = SEED,
) -> Overdispersion:
    """Test whether units share one rate.

    Given their sum, counts of units with one rate are multinomial with chances as their
    line-days. The score statistic of extra variance is compared with its values in `replicates`
    such draws, so that the test holds with sparse counts as well.

    Parameters
    ----------
    events, line_days : array_like of int, shape (units,)
        Units without line-days say nothing and are left out.
    replicates : int
        Draws; the smallest p is ``1 / (replicates + 1)``.
    seed : int
        Of the random generator.

    Returns
    -------
    Overdispersion

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    Source: score statistic as in Dean and Lawless, J Am Stat Assoc 1989;84:467 (from memory).

    Examples
    --------
    >>> overdispersion([0, 9, 0, 1, 0, 8], [100] * 6).p < 0.01
    True
    >>> overdispersion([3, 3, 3, 3], [100] * 4).dispersion
    0.0
    """
    counts, days = _units(events, line_days)
    order = np.lexsort((counts, days))
    order = order[days[order] > 0]
    counts, days = counts[order], days[order]
    units, total = len(counts), int(counts.sum())
    if units < 2 or total == 0:
        return Overdispersion(units, total, math.nan, math.nan)
    chance = days / days.sum()
    mean = total * chance
    dispersion = float(np.sum((counts - mean) ** 2 / mean) / (units - 1))
    observed = float(np.sum((counts - mean) ** 2))
    rng = np.random.default_rng(seed)
    chunk = max(1, 1_000_000 // units)
    as_far = 0
    for start in range(0, replicates, chunk):
        sampled = rng.multinomial(total, chance, size=min(chunk, replicates - start))
        as_far += int((((sampled - mean) ** 2).sum(axis=1) >= observed * (1 - 1e-12)).sum())
    return Overdispersion(units, total, dispersion, (as_far + 1) / (replicates + 1))


def clustered_rate_interval(
    events: npt.ArrayLike, line_days: npt.ArrayLike, *, confidence: float = 0.95
) -> ClusteredRate:
    """Rate of all families together, with limits adjusted for families that differ.

    The count's variance is estimated from the families' departures from the common rate. Where it
    exceeds that of independent events by the design effect d, the limits are the exact ones of
    1/d as many events in 1/d as many line-days, with d raised by the square of Student's over
    the normal quantile. They are never narrower than the exact ones.

    Parameters
    ----------
    events, line_days : array_like of int, shape (families,)
        One entry a family.
    confidence : float in (0, 1)
        Two-sided.

    Returns
    -------
    ClusteredRate
        Unit: events per 1000 line-days. Zero events: the effect can't be estimated, it is 1 and the
        limits are the exact ones. Events but fewer than `FEWEST_FAMILIES` families, so also one:
        limits and effect nan. No line-days: all nan.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole, confidence outside (0, 1).

    Notes
    -----
    Source: exact limits at a fractional count are gamma quantiles; the variance is that of a
    ratio estimator with families as clusters. The joining of both is a choice of this project. Of
    simulated programmes where a few families have most events, the limits of 95 % held the true
    rate in 92 % or more with ten families (exact ones: 45 %), in 90 % with five.

    Examples
    --------
    >>> alike = clustered_rate_interval([1, 1, 1, 1, 1], [100] * 5)
    >>> apart = clustered_rate_interval([5, 0, 0, 0, 0], [100] * 5)
    >>> alike.design_effect, apart.design_effect
    (0.0, 5.0)
    >>> bool(apart.lower < alike.lower and alike.upper < apart.upper)
    True
    """
    counts, days = _units(events, line_days)
    known = (days > 0) | (counts > 0)
    counts, days = counts[known], days[known]
    tail = tail_of(confidence)
    families, total, all_days = len(counts), int(counts.sum()), int(days.sum())
    if all_days == 0:
        nan = math.nan
        return ClusteredRate(total, 0, families, nan, nan, nan, nan, confidence)
    effect, widening = 1.0, 1.0
    if total > 0:
        if families < FEWEST_FAMILIES:
            rate = PER * total / all_days
            nan = math.nan
            return ClusteredRate(total, all_days, families, rate, nan, nan, nan, confidence)
        # An exactly rounded sum: the same bits in every order of families.
        squares = math.fsum((counts - total * (days / all_days)) ** 2)
        effect = families / (families - 1) * squares / total
        # The effect is itself estimated, from few families badly.
        few = special.stdtrit(families - 1, 1 - tail) / special.ndtri(1 - tail)
        widening = max(1.0, effect * float(few) ** 2)
    independent, scale = total / widening, PER * widening / all_days
    lower = special.gammaincinv(independent, tail) if total else 0.0
    upper = special.gammainccinv(independent + 1, tail)
    return ClusteredRate(
        total,
        all_days,
        families,
        PER * total / all_days,
        float(lower) * scale,
        float(upper) * scale,
        effect,
        confidence,
    )


def pearson_dispersion(events: npt.ArrayLike, expected: npt.ArrayLike) -> float:
    """Pearson's dispersion of counts about expected values that share one estimated centre.

    Parameters
    ----------
    events : array_like of int, shape (units,)
        Events counted.
    expected : array_like of float, shape (units,)
        Events expected, positive.

    Returns
    -------
    float
        About 1 when counts are Poisson; nan with fewer than two units with an expectation.

    Raises
    ------
    ValueError
        Counts not whole or negative, expected negative.

    Examples
    --------
    >>> pearson_dispersion([0, 4], [2.0, 2.0])
    4.0
    """
    counts, mean = whole_numbers(events, "events"), exposures(expected, "expected")
    counts, mean = counts[mean > 0], mean[mean > 0]
    if len(mean) < 2:
        return math.nan
    return float(np.sum((counts - mean) ** 2 / mean) / (len(mean) - 1))


def _units(events: npt.ArrayLike, line_days: npt.ArrayLike) -> tuple[IntArray, IntArray]:
    """Counts and days, one entry a unit."""
    counts, days = np.broadcast_arrays(
        np.atleast_1d(whole_numbers(events, "events")),
        np.atleast_1d(whole_numbers(line_days, "line_days")),
    )
    return counts, days
