"""When did the rate step up or down, and how sure is that?

One step at an unknown time between two steady Poisson rates. The answer is a distribution over
the periods, not a single date: with few events it is wide, and it should look so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, IntArray, quotient, tail_of, whole_numbers
from analysis.stats.intervals import PER

REPLICATES = 1999
SEED = 20_011


@dataclass(frozen=True)
class ChangePoint:
    """A step in a rate: which period is the first of the new rate; arrays of shape (periods,)."""

    probability: FloatArray
    """That the new rate starts with the period, given that there is one step; sums to 1."""
    log_likelihood_ratio: FloatArray
    """Of a step there against no step; nan where no step can be."""
    first_period: int
    """Most probable first period of the new rate; -1 when there is none to find."""
    likely_periods: IntArray
    """Fewest periods that hold the step with the probability asked for, in order of time."""
    rate_before_per_1000: float
    rate_after_per_1000: float
    p: float
    """Against one steady rate, over all possible steps at once."""
    confidence: float


def change_point(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    *,
    confidence: float = 0.95,
    replicates: int = REPLICATES,
    seed: int = SEED,
) -> ChangePoint:
    """Find one step in a Poisson rate, with the distribution of its time.

    Parameters
    ----------
    events, line_days : array_like of int, shape (periods,)
        In order of time. Periods without line-days take no step.
    confidence : float in (0, 1)
        Probability that `likely_periods` hold.
    replicates : int
        Draws for p; the smallest is ``1 / (replicates + 1)``.
    seed : int
        Of the random generator.

    Returns
    -------
    ChangePoint
        No events, or fewer than two periods with line-days: nothing to find, probabilities, rates
        and p are nan and `first_period` is -1.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole, confidence outside (0, 1).

    Notes
    -----
    The probability is the posterior with every time equally likely beforehand and each rate's
    Jeffreys prior, in closed form. p is that of the largest likelihood ratio among draws of
    the same number of events over the periods by their line-days, so that it is adjusted for the search.

    Source: marginal likelihood of Poisson counts under gamma priors, as in Raftery and Akman,
    Biometrika 1986;73:85 (from memory).

    Examples
    --------
    >>> found = change_point([1, 0, 1, 1, 5, 6, 4], [100] * 7)
    >>> found.first_period, found.likely_periods.tolist(), found.p < 0.01
    (4, [2, 3, 4], True)
    """
    counts, days = np.broadcast_arrays(
        np.atleast_1d(whole_numbers(events, "events")),
        np.atleast_1d(whole_numbers(line_days, "line_days")),
    )
    tail_of(confidence)
    n, total, all_days = len(counts), int(counts.sum()), int(days.sum())
    # One entry a period: events and days before it.
    x_before, d_before = np.cumsum(counts) - counts, np.cumsum(days) - days
    possible = (days > 0) & (d_before > 0)
    nothing = np.full(n, math.nan)
    if total == 0 or not possible.any():
        none = np.zeros(0, np.int64)
        return ChangePoint(nothing, nothing, -1, none, math.nan, math.nan, math.nan, confidence)

    x1, d1 = x_before[possible], d_before[possible]
    x2, d2 = total - x1, all_days - d1
    weight = _log_marginal(x1, d1) + _log_marginal(x2, d2)
    weight = np.exp(weight - weight.max())
    probability = np.zeros(n)
    probability[possible] = weight / weight.sum()
    ratio = nothing.copy()
    ratio[possible] = _log_ratio(x1, d1, total, all_days)
    first = int(np.argmax(probability))
    return ChangePoint(
        probability,
        ratio,
        first,
        _fewest(probability, confidence),
        PER * float(quotient(x_before[first], d_before[first])),
        PER * float(quotient(total - x_before[first], all_days - d_before[first])),
        _search_p(float(np.nanmax(ratio)), days, possible, total, replicates, seed),
        confidence,
    )


def _log_marginal(events: IntArray, days: IntArray) -> FloatArray:
    """Log marginal likelihood of a steady part under Jeffreys' prior, up to a constant."""
    return np.asarray(special.gammaln(events + 0.5) - (events + 0.5) * np.log(days))


def _log_ratio(x1: IntArray, d1: IntArray, total: int, all_days: int) -> FloatArray:
    """Log-likelihood of two rates less that of one."""
    x2, d2 = total - x1, all_days - d1
    two = special.xlogy(x1, x1 / d1) + special.xlogy(x2, x2 / d2)
    return np.asarray(two - special.xlogy(total, total / all_days))


def _fewest(probability: FloatArray, confidence: float) -> IntArray:
    """Return the most probable periods that together reach the confidence."""
    order = np.argsort(-probability, kind="stable")
    reached = np.cumsum(probability[order])
    needed = int(np.searchsorted(reached, confidence * (1 - 1e-12))) + 1
    return np.sort(order[:needed]).astype(np.int64)


def _search_p(
    observed: float, days: IntArray, possible: npt.NDArray[np.bool_], total: int, n: int, seed: int
) -> float:
    """Share of draws from one steady rate whose best step is at least as good."""
    rng = np.random.default_rng(seed)
    sampled = rng.multinomial(total, days / days.sum(), size=n)
    before = (np.cumsum(sampled, axis=1) - sampled)[:, possible]
    d_before = (np.cumsum(days) - days)[possible]
    best = _log_ratio(before, d_before, total, int(days.sum())).max(axis=1)
    return (int((best >= observed - 1e-9).sum()) + 1) / (n + 1)
