"""How much of the last weeks has not been reported yet?

Reports come late, and of recent periods only the quick ones can have come: delays are seen
truncated on the right. Counts by period of origin and delay make a triangle; reading it backwards,
from the longest delay to the shortest, gives the share reported within each delay without bias.
Triangles are sums and may be added over sources or partitions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.charts import BoolArray
from analysis.stats.inputs import FloatArray, IntArray, quotient, tail_of, whole_numbers

REPLICATES = 2000
SEED = 20_011
MOST = 1e15
"""Means above it are not sampled: the upper limit shows that nothing is known."""


@dataclass(frozen=True)
class DelayTriangle:
    """Reports by period of origin and delay; both arrays have shape (origins, delays)."""

    reports: IntArray
    """0 where not observable."""
    observable: BoolArray
    """Whether a report of that origin and delay can have come by now."""


@dataclass(frozen=True)
class DelayDistribution:
    """Share reported within each delay, of all that come within the longest; shape (delays,)."""

    reports: IntArray
    """Reports with that delay, of origins of which it is observable."""
    at_risk: IntArray
    """Reports of the same origins with that delay or a shorter one."""
    share_within: FloatArray
    """nan where reports are too few to tell."""


@dataclass(frozen=True)
class Nowcast:
    """What each period will amount to when all reports are in; arrays of shape (origins,)."""

    observed: IntArray
    completeness: FloatArray
    """Share of the period's reports that have come, on average; nan where it cannot be estimated."""
    expected_total: FloatArray
    lower: FloatArray
    upper: FloatArray
    dispersion: float
    """Variance over mean of the triangle's counts, 1 or more; widens the limits."""
    confidence: float


@dataclass(frozen=True)
class DelayChange:
    """Test whether delays grew or shrank from period to period."""

    z: float
    """Above 0: later origins have longer delays."""
    p: float
    """Two-sided; nan when there is nothing to compare."""


def delay_triangle(
    origin: npt.ArrayLike, delay: npt.ArrayLike, *, origins: int, delays: int | None = None
) -> DelayTriangle:
    """Count reports by period of origin and delay.

    Parameters
    ----------
    origin : array_like of int, shape (reports,)
        Period in which it happened, 0 to ``origins - 1``; the last one has just ended.
    delay : array_like of int, shape (reports,)
        Periods from then until the report was received, 0 or more.
    origins : int
        Number of periods.
    delays : int, optional
        Number of delays distinguished. Default: as long as the longest seen.

    Returns
    -------
    DelayTriangle

    Raises
    ------
    ValueError
        An origin or delay out of range, or a report from after the last period.

    Examples
    --------
    >>> found = delay_triangle([0, 0, 1], [0, 1, 0], origins=2)
    >>> found.reports.tolist(), found.observable.tolist()
    ([[1, 1], [1, 0]], [[True, True], [True, False]])
    """
    when, late = whole_numbers(origin, "origin"), whole_numbers(delay, "delay")
    longest = int(late.max(initial=0))
    n = longest + 1 if delays is None else delays
    if longest >= n:
        raise ValueError(f"delay holds {longest}, but only {n} delays are distinguished")
    if (when + late >= origins).any():
        at = int(np.flatnonzero(when + late >= origins)[0])
        raise ValueError(
            f"a report can't come after the last period, {origins - 1}; position {at} has "
            f"origin {when[at]} and delay {late[at]}"
        )
    reports = np.bincount(when * n + late, minlength=origins * n).reshape(origins, n)
    observable = np.add.outer(np.arange(origins), np.arange(n)) < origins
    return DelayTriangle(reports.astype(np.int64), observable)


def delay_distribution(triangle: DelayTriangle) -> DelayDistribution:
    """Share of reports that come within each delay, corrected for right truncation.

    Parameters
    ----------
    triangle : DelayTriangle
        Reports by origin and delay.

    Returns
    -------
    DelayDistribution
        Of all reports that come within the longest delay of the triangle: later ones, if any, are
        outside the triangle. No reports: all shares nan, except the last, which is
        1 by definition.

    Raises
    ------
    ValueError
        Delays not observable in order: each origin's must run from 0 to a last one.

    Notes
    -----
    The reverse hazard of delay j is the share with exactly j among reports with j or less, of the
    origins of which j is observable; the share within d is the product of its complements over
    all j > d.

    Source: reverse-time hazards of right-truncated data, as in Lawless, Can J Stat 1994;22:15
    (from memory); the same as chain-ladder development factors.

    Examples
    --------
    >>> found = delay_distribution(delay_triangle([0, 0, 0, 0, 1, 1], [0, 0, 1, 1, 0, 0], origins=2))
    >>> found.share_within.tolist()
    [0.5, 1.0]
    """
    counts, observable = _checked(triangle)
    by_delay = np.where(observable, counts, 0).sum(axis=0)
    up_to = np.where(observable, np.cumsum(counts, axis=1), 0).sum(axis=0)
    return DelayDistribution(by_delay, up_to, _share_within(by_delay, up_to))


def nowcast(
    triangle: DelayTriangle,
    *,
    confidence: float = 0.95,
    replicates: int = REPLICATES,
    seed: int = SEED,
) -> Nowcast:
    """Estimate what each period will amount to once late reports are in.

    Parameters
    ----------
    triangle : DelayTriangle
        Reports by origin and delay.
    confidence : float in (0, 1)
        Of the limits, two-sided.
    replicates : int
        Draws for the limits.
    seed : int
        Of the random generator.

    Returns
    -------
    Nowcast
        `expected_total` is observed over completeness. A period complete by now has its count
        for all three. Where completeness cannot be estimated, or is 0, the estimate is nan; there
        `lower` is what was observed and `upper` inf. Fewer than two origins or no reports: the
        same for every incomplete period.

    Raises
    ------
    ValueError
        Delays not observable in order, confidence outside (0, 1).

    Notes
    -----
    Limits come from draws of the reverse hazards (beta) and of the reports still to come
    (Poisson with a gamma mean). Reports that come in batches vary more than that: counts enter
    divided by Pearson's dispersion of the triangle, where that is above 1.

    Source: chain-ladder estimate; it equals Poisson regression on origin and delay (Renshaw and
    Verrall 1998, from memory). The limits are this project's choice, checked by simulation.

    Examples
    --------
    >>> found = nowcast(delay_triangle([0, 0, 0, 0, 1, 1], [0, 0, 1, 1, 0, 0], origins=2))
    >>> found.completeness.tolist(), found.expected_total.tolist()
    ([1.0, 0.5], [4.0, 4.0])
    """
    counts, observable = _checked(triangle)
    tail = tail_of(confidence)
    distribution = delay_distribution(triangle)
    last = observable.sum(axis=1) - 1
    observed = np.where(observable, counts, 0).sum(axis=1)
    completeness, total, misfit, df = _estimate(counts, observable, distribution.share_within)
    dispersion = _dispersion(misfit, df)
    within, rng = simulated_shares(distribution, dispersion, replicates, seed)
    within = np.maximum(within[:, last], 1 / MOST)
    mean = rng.gamma(observed / dispersion + 0.5, size=within.shape) * (1 - within) / within
    to_come = dispersion * rng.poisson(np.minimum(mean, MOST))
    lower, upper = observed + np.quantile(to_come, [tail, 1 - tail], axis=0)
    unknown = ~(completeness > 0)
    complete = last == counts.shape[1] - 1
    lower = np.where(unknown | complete, observed, lower)
    upper = np.where(complete, observed, np.where(unknown, math.inf, upper))
    return Nowcast(observed, completeness, total, lower, upper, dispersion, confidence)


def simulated_shares(
    distribution: DelayDistribution, dispersion: float, replicates: int, seed: int
) -> tuple[FloatArray, np.random.Generator]:
    """Shares reported within each delay that the reports could have come from.

    Parameters
    ----------
    distribution : DelayDistribution
        As estimated.
    dispersion : float
        Variance over mean of the triangle's counts, 1 or more: reports enter divided by it.
    replicates : int
        Draws.
    seed : int
        Of the random generator.

    Returns
    -------
    array of float, shape (replicates, delays)
        Product of the complements of reverse hazards, which are beta distributed. Not to be changed:
        the last draws are remembered, since all events of one log have its delays.
    Generator
        As the draws left it.
    """
    fewer, up_to = distribution.reports.tobytes(), distribution.at_risk.tobytes()
    within, state = _shares_of_counts(fewer, up_to, dispersion, replicates, seed)
    rng = np.random.default_rng(seed)
    rng.bit_generator.state = state
    return within, rng


@lru_cache(maxsize=4)
def _shares_of_counts(
    reports: bytes, at_risk: bytes, dispersion: float, replicates: int, seed: int
) -> tuple[FloatArray, Mapping[str, Any]]:
    """The shares, and the state of the generator after them."""
    rng = np.random.default_rng(seed)
    counts, up_to = (np.frombuffer(cells, dtype=np.int64) for cells in (reports, at_risk))
    more = np.maximum(up_to - counts, 0) / dispersion
    hazard = rng.beta(counts / dispersion + 0.5, more + 0.5, size=(replicates, len(more)))
    hazard[:, 0] = 0.0
    # Product over all longer delays.
    within = np.cumprod((1 - hazard)[:, ::-1], axis=1)[:, ::-1]
    shares: FloatArray = np.column_stack((within[:, 1:], np.ones(replicates)))
    shares.setflags(write=False)
    return shares, rng.bit_generator.state


def delay_change(triangle: DelayTriangle) -> DelayChange:
    """Test whether delays changed with the period of origin.

    Parameters
    ----------
    triangle : DelayTriangle
        Reports by origin and delay.

    Returns
    -------
    DelayChange
        Reports of a single origin, or all with one delay: nan.

    Raises
    ------
    ValueError
        Delays not observable in order.

    Notes
    -----
    Log-rank test for trend in reverse time: among reports with delay j or less, of origins of
    which j is observable, do those with exactly j have later origins? z is divided by the root of
    the triangle's dispersion where that is above 1, since a family that hands in a month of
    entries at once is one witness, not thirty.

    Source: log-rank trend score with hypergeometric variance (from memory).

    Examples
    --------
    >>> slow = delay_triangle([0] * 8 + [1] * 8, [0] * 7 + [1] + [0] + [1] * 7, origins=3)
    >>> delay_change(slow).p < 0.01
    True
    """
    counts, observable = _checked(triangle)
    up_to = np.where(observable, np.cumsum(counts, axis=1), 0)
    exactly = np.where(observable, counts, 0)
    at_risk, reports = up_to.sum(axis=0), exactly.sum(axis=0)
    order = np.arange(len(counts), dtype=np.float64)[:, None]
    compared = (at_risk > 1) & (np.arange(counts.shape[1]) > 0)
    size = np.where(compared, at_risk, 2)
    middle = (order * up_to).sum(axis=0) / size
    score = (order * exactly).sum(axis=0) - reports * middle
    spread = ((order - middle) ** 2 * up_to).sum(axis=0) / size
    variance = reports * spread * (size - reports) / (size - 1)
    v = float(variance[compared].sum())
    if v <= 0:
        return DelayChange(math.nan, math.nan)
    z = float(score[compared].sum()) / math.sqrt(v)
    # What the change itself adds to the misfit is not batches.
    _, _, misfit, df = _estimate(counts, observable, _share_within(reports, at_risk))
    z /= math.sqrt(_dispersion(misfit - z**2, df - 1))
    return DelayChange(z, 2 * float(special.ndtr(-abs(z))))


def _share_within(by_delay: IntArray, up_to: IntArray) -> FloatArray:
    """Product of the complements of the reverse hazards over all longer delays."""
    stay = np.full(len(up_to), math.nan)
    np.divide(up_to - by_delay, up_to, out=stay, where=up_to > 0)
    longer = np.cumprod(stay[::-1])[::-1]
    share = np.append(longer[1:], 1.0)
    # Once no report comes within a delay, none comes within a shorter one.
    none = np.maximum.accumulate((share == 0)[::-1])[::-1]
    return np.where(none, 0.0, share)


def _estimate(
    counts: IntArray, observable: BoolArray, share_within: FloatArray
) -> tuple[FloatArray, FloatArray, float, int]:
    """Completeness and expected total of each origin; Pearson's misfit and its freedom."""
    last = observable.sum(axis=1) - 1
    completeness = np.where(last >= 0, share_within[last], 0.0)
    total = quotient(np.where(observable, counts, 0).sum(axis=1), completeness)
    expected = total[:, None] * np.diff(share_within, prepend=0.0)
    used = observable & (expected > 0)
    parameters = int(used.any(axis=1).sum() + used.any(axis=0).sum() - 1)
    misfit = float(((counts[used] - expected[used]) ** 2 / expected[used]).sum())
    return completeness, total, misfit, int(used.sum()) - parameters


def _dispersion(misfit: float, df: int) -> float:
    """Variance over mean of the triangle's counts, 1 or more."""
    return max(1.0, misfit / df) if df > 0 else 1.0


def dispersion_of(triangle: DelayTriangle) -> float:
    """Variance over mean of a triangle's counts about their estimate, 1 or more."""
    counts, observable = _checked(triangle)
    share = delay_distribution(triangle).share_within
    _, _, misfit, df = _estimate(counts, observable, share)
    return _dispersion(misfit, df)


def _checked(triangle: DelayTriangle) -> tuple[IntArray, BoolArray]:
    """Return counts and what is observable, which must run from delay 0 without gaps."""
    counts = whole_numbers(triangle.reports, "reports")
    observable = np.asarray(triangle.observable, dtype=np.bool_)
    if counts.ndim != 2 or observable.shape != counts.shape:
        raise ValueError("reports and observable must be tables of one shape")
    if (observable[:, 1:] & ~observable[:, :-1]).any():
        raise ValueError("observable must run from delay 0 to a last one in every origin")
    return counts, observable
