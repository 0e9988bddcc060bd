"""Which sites or nurses differ from the programme by more than chance allows?

A funnel: each group's rate against its line-days, with limits about the programme's rate that
narrow as line-days grow. Groups inside the limits show no clear difference; the funnel shows which
ones to look into and doesn't rank them. A list sorted by rate does rank, and puts small groups at
both ends by chance alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.charts import count_quantile
from analysis.stats.inputs import FloatArray, IntArray, quotient, tail_of, whole_numbers
from analysis.stats.intervals import PER

HALF = 0.5
CONFIDENCES = (0.95, 0.998)
WINSORISED_SHARE = 0.1
"""Share of groups at either end pulled in before dispersion is estimated, so that the groups to be
found don't widen the limits that should find them."""


@dataclass(frozen=True)
class Funnel:
    """Groups against the programme; arrays have shape (groups,), unit: per 1000 line-days."""

    events: IntArray
    line_days: IntArray
    rate_per_1000: FloatArray
    """nan where there are no line-days; so are the limits."""
    centre: float
    """nan when no group has line-days."""
    lower_95: FloatArray
    upper_95: FloatArray
    lower_998: FloatArray
    upper_998: FloatArray
    tau: float
    """Standard deviation of groups' true rates that the limits include, per 1000; 0: none."""


@dataclass(frozen=True)
class GroupDispersion:
    """How far groups differ beyond chance."""

    phi: float
    """Winsorised mean of squared z-scores; about 0.7 or less when there is chance only."""
    tau: float
    """Standard deviation of groups' true rates, per 1000 line-days; 0 when there is none to see."""
    groups: int


def funnel(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    *,
    dispersion: float = 1.0,
    families: int | None = None,
) -> Funnel:
    """Rates of groups with exact limits about their common rate.

    Parameters
    ----------
    events, line_days : array_like of int, shape (groups,)
        Groups that make up the programme.
    dispersion : float
        Variance over mean of a group's count, 1 or more
        (`stats.dispersion.group_dispersion_of_families`). Above 1 the limits are negative
        binomial quantiles.
    families : int, optional
        Families from which the dispersion was estimated, 2 or more: with few of them the limits
        are wider, by the square of Student's over the normal quantile.

    Returns
    -------
    Funnel
        Limits of 95 and 99.8 %: a rate above `upper` or below `lower` has a chance of at most
        half of the rest. No events: centre and limits 0. A group without line-days: nan.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    Source: exact Poisson quantiles, as in Spiegelhalter, Stat Med 2005;24:1185 (from memory).

    Examples
    --------
    >>> found = funnel([4, 6, 30], [2000, 3000, 5000])
    >>> found.centre, found.upper_998.round(2).tolist()
    (4.0, [9.0, 8.0, 7.0])
    """
    counts, days = _groups(events, line_days)
    return _about_centre(counts, days, 0.0, dispersion, families)


def overdispersed_funnel(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    *,
    dispersion: float = 1.0,
    families: int | None = None,
) -> Funnel:
    """Rates of groups with limits that include the differences every programme has.

    Where groups differ a little everywhere (case mix, habits), exact limits flag the large ones for
    small differences. Here true rates vary with the standard deviation `tau` estimated from the
    groups themselves, and the limits are negative binomial quantiles.

    Parameters
    ----------
    events, line_days : array_like of int, shape (groups,)
        Groups that make up the programme.
    dispersion, families
        As for `funnel`.

    Returns
    -------
    Funnel
        As `funnel`, and the same when `tau` is 0.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    Source: additive random effects on winsorised z-scores, as in Spiegelhalter, Stat Med
    2005;24:1185 (from memory); see `group_dispersion`.

    Examples
    --------
    >>> found = overdispersed_funnel([10, 30, 12, 28, 9, 31], [5000] * 6)
    >>> found.tau > 0, bool(found.upper_998[0] > funnel([20] * 6, [5000] * 6).upper_998[0])
    (True, True)
    """
    counts, days = _groups(events, line_days)
    tau = group_dispersion(counts, days, dispersion=dispersion).tau
    return _about_centre(counts, days, tau, dispersion, families)


def group_dispersion(
    events: npt.ArrayLike, line_days: npt.ArrayLike, *, dispersion: float = 1.0
) -> GroupDispersion:
    """How far groups differ beyond chance, the most extreme ones pulled in.

    Parameters
    ----------
    events, line_days : array_like of int, shape (groups,)
        Groups that make up the programme; those without line-days are left out.
    dispersion : float
        Variance over mean of a group's count that families explain, 1 or more.

    Returns
    -------
    GroupDispersion
        No events or fewer than two groups: `phi` nan and `tau` 0.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole.

    Notes
    -----
    The z-scores are Pearson's, of variance 1 at any mean (a root transform exceeds it when few
    events are expected, and would find differences that aren't there). The outer tenths are set
    to the tenth's edge. `tau` is the method-of-moments estimate of DerSimonian and Laird.

    Source: Spiegelhalter, Stat Med 2005;24:1185 (from memory).

    Examples
    --------
    >>> group_dispersion([20, 20, 20], [5000] * 3)
    GroupDispersion(phi=0.0, tau=0.0, groups=3)
    """
    counts, days = _groups(events, line_days)
    counts, days = counts[days > 0], days[days > 0]
    groups, total = len(days), int(counts.sum())
    if groups < 2 or total == 0:
        return GroupDispersion(np.nan, 0.0, groups)
    centre = total / int(days.sum())
    mean = days * centre
    z = (counts - mean) / np.sqrt(dispersion * mean)
    edges = np.quantile(z, [WINSORISED_SHARE, 1 - WINSORISED_SHARE])
    phi = float(np.mean(np.clip(z, *edges) ** 2))
    # Weights are inverse variances of the groups' rates.
    weights = np.sort(days / (dispersion * centre))
    excess = groups * phi - (groups - 1)
    tau_squared = excess / (weights.sum() - (weights**2).sum() / weights.sum())
    return GroupDispersion(phi, PER * float(np.sqrt(max(tau_squared, 0.0))), groups)


def _about_centre(
    counts: IntArray, days: IntArray, tau: float, dispersion: float, families: int | None
) -> Funnel:
    """Limits about the common rate, with families that differ and true rates spread by tau."""
    if not dispersion >= 1:
        raise ValueError(f"dispersion must be 1 or more, but is {dispersion!r}")
    if families is not None and families < 2:
        raise ValueError(f"families must be 2 or more, but is {families}")
    centre = float(quotient(counts.sum(), days.sum()))
    mean = np.where(days > 0, days * centre, np.nan)

    def limit(level: float, tail: float) -> FloatArray:
        few = 1.0
        if families is not None:
            few = float(special.stdtrit(families - 1, tail) / special.ndtri(tail)) ** 2
        # Independent events need no estimate and are not widened.
        excess = dispersion * few - 1 if dispersion > 1 else 0.0
        extra = excess * mean + (tau / PER * days) ** 2
        return PER * quotient(_quantile(level, mean, extra), days)

    lower_95, upper_95, lower_998, upper_998 = (
        limit(level, tail_of(c)) for c in CONFIDENCES for level in (tail_of(c), 1 - tail_of(c))
    )
    return Funnel(
        counts,
        days,
        PER * quotient(counts, days),
        PER * centre,
        lower_95,
        upper_95,
        lower_998,
        upper_998,
        tau,
    )


def _quantile(level: float, mean: FloatArray, extra: FloatArray) -> FloatArray:
    """Quantile of counts of that mean and of variance ``mean + extra``.

    Never inside the limits of chance alone: where next to nothing is expected, a spread of means
    makes no event likelier and would draw the upper limit in.
    """
    chance = count_quantile(level, mean)
    known = (mean > 0) & (extra > 0)
    if not known.any():
        return chance
    extra = np.where(known, extra, 1.0)
    usual = np.where(known, mean, 1.0)
    # Negative binomial of that mean and of variance mean + extra.
    from scipy import stats  # takes long to load and is seldom needed

    found = stats.nbinom.ppf(level, usual**2 / extra, usual / (usual + extra))
    outer = np.maximum(found, chance) if level > HALF else np.minimum(found, chance)
    return np.where(known, outer, chance)


def _groups(events: npt.ArrayLike, line_days: npt.ArrayLike) -> tuple[IntArray, IntArray]:
    """Counts and days, one entry a group."""
    counts, days = np.broadcast_arrays(
        np.atleast_1d(whole_numbers(events, "events")),
        np.atleast_1d(whole_numbers(line_days, "line_days")),
    )
    return counts, days
