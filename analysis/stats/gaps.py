"""When events are rare: is the time between them out of step, and is the wait since the last?

With few events a period a rate chart sees little; the gaps between events say more. A gap is best
counted in line-days, so that a growing programme doesn't look worse. A gap above the upper limit
is good news, one below the lower limit bad; with a rare event the lower limit is next to nothing,
and it is the run of short gaps that warns.
"""

from __future__ import annotations

import bisect
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.charts import ALPHA, BoolArray, Rule, in_a_row
from analysis.stats.inputs import FloatArray, exposures, tail_of, whole_numbers


@dataclass(frozen=True)
class GapChart:
    """Control chart of the gaps between events; unit as the gaps, arrays of shape (gaps,)."""

    gaps: FloatArray
    centre: float
    """Where half of the gaps of a steady process lie below."""
    lower_limit: FloatArray
    upper_limit: FloatArray
    signals: Mapping[Rule, BoolArray]
    baseline_gaps: int


@dataclass(frozen=True)
class OpenGap:
    """The wait since the last event against the gaps before it."""

    gap: float
    p_as_long: float
    """Probability of waiting as long or longer at the earlier rate; small: fewer events now."""
    rate_upper: float
    """Upper limit of the rate since, events per unit of the gap; inf at a gap of 0."""


def g_chart(gaps: npt.ArrayLike, *, baseline: int | None = None, alpha: float = ALPHA) -> GapChart:
    """Chart of counts between events with exact geometric quantiles.

    Parameters
    ----------
    gaps : array_like of int, shape (gaps,)
        Line-days, or dressing changes, between an event and the next, in order; 0 or more.
    baseline : int, optional
        The mean comes from the first so many gaps. Default: all.
    alpha : float in (0, 1)
        Chance of a gap outside the limits, at most half on either side.

    Returns
    -------
    GapChart
        Gaps on a limit are inside. Fewer than two baseline gaps: centre and limits nan.

    Raises
    ------
    ValueError
        Gaps negative or not whole, baseline out of range, alpha outside (0, 1).

    Notes
    -----
    Source: geometric quantiles. Three standard deviations above a mean of 25.5 are 103.5, which a
    steady process passes fourteen times as often as the .99865 quantile, 171. Gaps after a frozen
    baseline are judged by their distribution given the sum with the baseline's gaps, which
    depends on no mean at all.

    Examples
    --------
    >>> chart = g_chart([20, 31])
    >>> chart.centre, chart.lower_limit.tolist(), chart.upper_limit.tolist()
    (18.0, [0.0, 0.0], [171.0, 171.0])
    """
    given = whole_numbers(np.atleast_1d(gaps), "gaps")
    n = _baseline(given, baseline)
    tail = tail_of(1 - alpha)
    mean = float(given[:n].mean()) if n >= 2 else np.nan
    from scipy import stats  # takes long to load and is seldom needed

    # Counted from 0: the number without an event before the next one.
    centre, lower, upper = (
        float(stats.geom.ppf(level, 1 / (1 + mean)) - 1) if mean > 0 else 0 * mean
        for level in (0.5, tail, 1 - tail)
    )
    low, high = np.full(given.shape, lower), np.full(given.shape, upper)
    if n < len(given) and not np.isnan(mean):
        low[n:], high[n:] = _conditional_limits(int(given[:n].sum()), n, tail)
    return _chart(np.asarray(given, dtype=np.float64), centre, low, high, n)


def open_gap(gap: float, earlier_gaps: npt.ArrayLike, *, confidence: float = 0.95) -> OpenGap:
    """How unusual is the wait since the last event, and what rate can still be behind it?

    Parameters
    ----------
    gap : float
        Time or line-days since the last event, without one.
    earlier_gaps : array_like of float, shape (gaps,)
        Gaps between earlier events, same unit.
    confidence : float in (0, 1)
        Of the upper limit, one-sided: events are none.

    Returns
    -------
    OpenGap
        No earlier gaps, or all 0: the probability is nan. The limit is given without them.

    Raises
    ------
    ValueError
        A gap negative or not finite, confidence outside (0, 1).

    Notes
    -----
    Source: exponential gaps; the earlier mean being estimated, a new gap over it follows F with
    2 and 2n degrees of freedom, so the probability is ``(1 + gap / sum) ** -n``.

    Examples
    --------
    >>> found = open_gap(300, [100, 100, 100])
    >>> round(found.p_as_long, 6), round(found.rate_upper, 5)
    (0.125, 0.00999)
    """
    earlier = exposures(np.atleast_1d(earlier_gaps), "earlier_gaps")
    wait = float(exposures(gap, "gap"))
    tail_of(confidence)
    total, n = float(earlier.sum()), len(earlier)
    p = float(np.exp(-n * np.log1p(wait / total))) if n and total > 0 else np.nan
    upper = float(special.gammainccinv(1, 1 - confidence)) / wait if wait > 0 else np.inf
    return OpenGap(wait, p, upper)


def _conditional_limits(total: int, n: int, tail: float) -> tuple[int, int]:
    """Limits of a geometric gap given its sum with `n` earlier ones that sum to `total`.

    All ways to split a sum over n + 1 gaps are equally likely, so that
    P(gap >= x) = C(total + n, n) / C(total + x + n, n).
    """

    def log_ways(sum_of_gaps: int) -> float:
        if sum_of_gaps < 0:
            return -np.inf
        return float(special.gammaln(sum_of_gaps + n + 1) - special.gammaln(sum_of_gaps + 1))

    def at_least(gap: int) -> float:
        return float(np.exp(log_ways(total) - log_ways(total + gap)))

    def at_most(gap: int) -> float:
        return float(-np.expm1(log_ways(total - 1) - log_ways(total + gap)))

    return _first(lambda gap: at_most(gap) > tail), _first(lambda gap: at_least(gap) <= tail) - 1


def _first(holds: Callable[[int], bool]) -> int:
    """Return the smallest whole number from which on it holds."""
    high = 1
    while not holds(high - 1):
        high *= 2
    return bisect.bisect_left(range(high), True, key=holds)


def _chart(
    gaps: FloatArray, centre: float, lower: FloatArray, upper: FloatArray, baseline: int
) -> GapChart:
    """Judge the gaps against centre and limits."""
    counted = np.full(gaps.shape, not np.isnan(centre))
    signals = {
        Rule.ABOVE_LIMIT: gaps > upper,
        Rule.BELOW_LIMIT: gaps < lower,
        Rule.RUN_ABOVE: in_a_row(gaps > centre, counted),
        Rule.RUN_BELOW: in_a_row(gaps < centre, counted),
    }
    return GapChart(gaps, float(centre), lower, upper, signals, baseline)


def _baseline(gaps: npt.NDArray[np.generic], n: int | None) -> int:
    """Number of baseline gaps."""
    if n is None:
        return len(gaps)
    if not 1 <= n <= len(gaps):
        raise ValueError(f"baseline must be 1 to {len(gaps)} gaps, but is {n}")
    return n
