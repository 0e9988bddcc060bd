"""Is the rate of one period out of step with the others?

A u-chart: events per 1000 line-days by period against a centre, with limits that a steady rate
seldom passes. The limits are exact quantiles and not the centre plus and minus three standard
deviations: with two events expected a month, a steady rate passes such limits in 23 % of
two-year charts, with half an event in 35 % (simulated).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from analysis.stats.inputs import FloatArray, IntArray, quotient, whole_numbers
from analysis.stats.intervals import PER

ALPHA = 0.0027
"""Chance that one point of a steady process lies outside the limits, both sides together."""
WARNING_ALPHA = 0.0455
"""The same for the warning limits of the rule of two in three."""
RUN_LENGTH = 9
"""With 8, up to one in eight two-year charts about a frozen centre had a false run (simulated)."""
BoolArray = npt.NDArray[np.bool_]


class Rule(StrEnum):
    """What makes a point a signal."""

    ABOVE_LIMIT = "above_limit"
    BELOW_LIMIT = "below_limit"
    RUN_ABOVE = "run_above"
    """The last `RUN_LENGTH` points all lie above the median of a steady process."""
    RUN_BELOW = "run_below"
    TWO_OF_THREE_HIGH = "two_of_three_high"
    """This point and one of the two before lie above the upper warning limit."""
    TWO_OF_THREE_LOW = "two_of_three_low"


@dataclass(frozen=True)
class UChart:
    """Control chart of a rate; arrays have shape (periods,), unit: events per 1000 line-days."""

    events: IntArray
    line_days: IntArray
    rate_per_1000: FloatArray
    """nan in a period without line-days."""
    centre: float
    """nan when the baseline has no line-days."""
    lower_limit: FloatArray
    """nan in a period without line-days, and throughout when the baseline has no events."""
    upper_limit: FloatArray
    signals: Mapping[Rule, BoolArray]
    in_baseline: BoolArray
    baseline_events: int
    baseline_days: int


def u_chart(
    events: npt.ArrayLike,
    line_days: npt.ArrayLike,
    *,
    baseline: int | None = None,
    settled: npt.ArrayLike | None = None,
    judged: npt.ArrayLike | None = None,
    alpha: float = ALPHA,
    dispersion: npt.ArrayLike = 1.0,
    centre_error: float = 0.0,
    independent: bool = True,
) -> UChart:
    """Control chart of a rate with exact limits.

    Parameters
    ----------
    events, line_days : array_like of int, shape (periods,)
        In order of time.
    baseline : int, optional
        The centre comes from the first so many settled and judged periods and stays (frozen).
        Default: all of them.
    settled : array_like of bool, shape (periods,), optional
        Periods that late reports can no longer change. Others are in no baseline and no run, and
        can only be above the upper limit. Default: all.
    judged : array_like of bool, shape (periods,), optional
        Periods that may be judged at all; others are in no baseline and give no signal.
        Default: all.
    alpha : float in (0, 1)
        Chance of a point outside the limits, half on either side.
    dispersion : array_like of float, shape (periods,) or scalar
        Variance over mean of a steady period's count, 1 or more
        (`analysis.stats.dispersion.chart_dispersion`). Above 1 the limits are negative binomial
        quantiles.
    centre_error : float
        Relative standard error of a frozen centre; widens the limits of periods after it.
    independent : bool
        Whether periods are independent of each other. If not, as with a season or with families
        that have most of the events over several periods, the rules of several points are left
        out, which would signal far too often.

    Returns
    -------
    UChart
        Points on a limit are inside. Periods without line-days have no rate and are passed over by
        the rules. A baseline without events has a centre of 0 and no limits or signals: any event
        would be one. Baseline without line-days: centre nan, no limits.

    Raises
    ------
    ValueError
        Counts or days that are negative or not whole, no or too long a baseline, alpha outside
        (0, 1), dispersion below 1, error below 0.

    Notes
    -----
    The rules are three: outside a limit; nine in a row on one side of the median; two of three
    beyond a warning limit. Simulated for 24 months about a centre frozen over 12 months before,
    with the dispersion of the baseline, any of them is false in 3 to 12 % of steady programmes,
    with the months' own centre in at most 3 %: with independent events, with families whose rates
    differ (gamma, shape 0.25) and with a season of half the rate (``simulate_programmes``). With
    limits of independent events it is 8 to 98 %. Runs about the mean instead of the
    median are left out: with few events most months lie below it, and up to 6 in 10 steady charts
    had one.

    Source: exact quantiles of the counts' distribution; with overdispersion those of the negative
    binomial of that variance, as for funnels in Spiegelhalter, Stat Med 2005;24:1185 (from
    memory).

    Examples
    --------
    >>> chart = u_chart([2, 1, 3, 2, 9], [1000] * 5, baseline=4)
    >>> chart.centre, chart.upper_limit.tolist()
    (2.0, [7.0, 7.0, 7.0, 7.0, 7.0])
    >>> chart.signals[Rule.ABOVE_LIMIT].tolist()
    [False, False, False, False, True]
    """
    counts, days = _periods(events, line_days)
    usable = _mask(judged, len(counts))
    final = usable & _mask(settled, len(counts))
    base = _baseline(final, baseline)
    base_events, base_days = int(counts[base].sum()), int(days[base].sum())
    centre = float(quotient(base_events, base_days))
    expected = np.where((days > 0) & (base_events > 0), days * centre, np.nan)
    if centre_error < 0:
        raise ValueError(f"centre_error must be 0 or more, but is {centre_error!r}")
    given = np.asarray(dispersion, dtype=np.float64)
    spread = np.where(base, given, given + np.nan_to_num(expected) * centre_error**2)

    def quantile(level: float) -> FloatArray:
        return count_quantile(level, expected, dispersion=spread)

    _check_alpha(alpha)
    lower, upper = quantile(alpha / 2), quantile(1 - alpha / 2)
    low, high = quantile(WARNING_ALPHA / 2), quantile(1 - WARNING_ALPHA / 2)
    middle = quantile(0.5)
    in_runs = final & ~np.isnan(expected) & independent
    signals = {
        Rule.ABOVE_LIMIT: (counts > upper) & usable,
        Rule.BELOW_LIMIT: (counts < lower) & final,
        Rule.RUN_ABOVE: in_a_row(counts > middle, in_runs),
        Rule.RUN_BELOW: in_a_row(counts < middle, in_runs),
        Rule.TWO_OF_THREE_HIGH: two_of_three(counts > high, in_runs),
        Rule.TWO_OF_THREE_LOW: two_of_three(counts < low, in_runs),
    }
    return UChart(
        counts,
        days,
        PER * quotient(counts, days),
        PER * centre,
        PER * quotient(lower, days),
        PER * quotient(upper, days),
        signals,
        base,
        base_events,
        base_days,
    )


def count_quantile(
    level: float, expected: npt.ArrayLike, *, dispersion: npt.ArrayLike = 1.0
) -> FloatArray:
    """Smallest count that a steady process stays at or below with probability `level`.

    Parameters
    ----------
    level : float in (0, 1)
        Probability.
    expected : array_like of float
        Mean counts; nan and 0 give nan and 0.
    dispersion : array_like of float
        Variance over mean; 1: Poisson, above: negative binomial.

    Returns
    -------
    array of float
        Whole numbers, or nan.

    Raises
    ------
    ValueError
        Dispersion below 1.

    Examples
    --------
    >>> count_quantile(0.99865, [0.5, 2.0]).tolist()
    [4.0, 7.0]
    """
    spread = np.asarray(dispersion, dtype=np.float64)
    if not (spread >= 1).all():
        raise ValueError(f"dispersion must be 1 or more, but is {float(spread.min())!r}")
    mean = np.asarray(expected, dtype=np.float64)
    from scipy import stats  # takes long to load and is seldom needed

    chance = np.asarray(stats.poisson.ppf(level, mean), dtype=np.float64)
    wider = (spread > 1) & (mean > 0)
    if not wider.any():
        return chance
    size = np.where(wider, mean, 1.0) / np.where(wider, spread - 1, 1.0)
    found = stats.nbinom.ppf(level, size, np.where(wider, 1 / spread, 0.5))
    return np.asarray(np.where(wider, found, chance), dtype=np.float64)


def in_a_row(on_side: BoolArray, counted: BoolArray, *, length: int = RUN_LENGTH) -> BoolArray:
    """Whether a point and the ``length - 1`` before it all lie on the side; others passed over.

    Examples
    --------
    >>> in_a_row(np.array([True, True, False, True]), np.array([True] * 4), length=2).tolist()
    [False, True, False, False]
    """
    return _of_the_last(on_side, counted, length) >= length


def two_of_three(beyond: BoolArray, counted: BoolArray) -> BoolArray:
    """Whether a point lies beyond and so does one of the two before it; others passed over.

    Examples
    --------
    >>> two_of_three(np.array([True, False, True, False]), np.array([True] * 4)).tolist()
    [False, False, True, False]
    """
    return np.asarray(beyond & counted & (_of_the_last(beyond, counted, 3) >= 2))


def _of_the_last(holds: BoolArray, counted: BoolArray, length: int) -> IntArray:
    """For how many of the last `length` counted points it holds; 0 at points not counted."""
    used = holds[counted].astype(np.int64)
    sums = np.cumsum(used)
    sums[length:] -= sums[:-length].copy()
    result = np.zeros(len(holds), np.int64)
    result[counted] = sums
    return result


def _periods(events: npt.ArrayLike, line_days: npt.ArrayLike) -> tuple[IntArray, IntArray]:
    """Counts and days in order of time."""
    counts, days = np.broadcast_arrays(
        np.atleast_1d(whole_numbers(events, "events")),
        np.atleast_1d(whole_numbers(line_days, "line_days")),
    )
    return counts, days


def _mask(flags: npt.ArrayLike | None, length: int) -> BoolArray:
    """Flags by period; None: all."""
    if flags is None:
        return np.ones(length, dtype=np.bool_)
    found = np.asarray(flags, dtype=np.bool_)
    if found.shape != (length,):
        raise ValueError(f"there are {length} periods, but flags of shape {found.shape}")
    return found


def _baseline(usable: BoolArray, periods: int | None) -> BoolArray:
    """The first so many of the usable periods."""
    if periods is None:
        return usable
    if not 1 <= periods <= len(usable):
        raise ValueError(f"baseline must be 1 to {len(usable)} periods, but is {periods}")
    return usable & (np.cumsum(usable) <= periods)


def _check_alpha(alpha: float) -> None:
    """Refuse a chance outside (0, 1)."""
    if not 0 < alpha < 1:
        raise ValueError(f"alpha must be between 0 and 1, but is {alpha!r}")
