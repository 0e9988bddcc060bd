"""Are rare events coming closer together, when only the day of each is known?

Days are whole: two events of one day have a gap of 0, and with some hundred lines at home that is
no rarity. Gaps are therefore judged by the chance of what was observed, a day being a stretch of
the process and not a point. They are counted in days, or in line-days so that a programme that
grows does not look worse.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from analysis.stats.charts import ALPHA, BoolArray, in_a_row
from analysis.stats.inputs import FloatArray, IntArray, tail_of, whole_numbers

_STEPS = 64
"""Halvings after which a limit in whole days is exact."""


class GapRule(StrEnum):
    """What makes a gap a signal. Short gaps are bad news, long ones good news."""

    TOO_SHORT = "too_short"
    """Events closer together than a steady rate would bring them."""
    LONG_WITHOUT_EVENT = "long_without_event"
    RUN_OF_SHORT = "run_of_short"
    """The last nine gaps are all shorter than usual."""
    RUN_OF_LONG = "run_of_long"


@dataclass(frozen=True)
class DayGapChart:
    """Control chart of gaps known to the day; unit as the gaps, arrays of shape (gaps,)."""

    gaps: IntArray
    centre: FloatArray
    """Median of a steady process."""
    lower_limit: FloatArray
    """A gap below it is a signal; 0 where no gap is too short."""
    upper_limit: FloatArray
    """A gap above it is a signal."""
    signals: Mapping[GapRule, BoolArray]
    in_baseline: BoolArray


def day_gap_chart(
    gaps: npt.ArrayLike,
    first_width: npt.ArrayLike,
    last_width: npt.ArrayLike,
    *,
    baseline: int | None = None,
    alpha: float = ALPHA,
) -> DayGapChart:
    """Chart of gaps between events whose days are known and whose time of day is not.

    Parameters
    ----------
    gaps : array_like of int, shape (gaps,)
        Days, or line-days, from the start of one event's day to the start of the next one's, in
        order; 0 for two events of one day.
    first_width, last_width : array_like of int, shape (gaps,) or scalar
        Length of the day of the event before and of the event after the gap: 1 when gaps are days,
        the line-days of that day when they are line-days; 1 or more.
    baseline : int, optional
        The rate comes from the first so many gaps. Default: all.
    alpha : float in (0, 1)
        Chance of a gap outside the limits, at most half on either side.

    Returns
    -------
    DayGapChart
        Fewer than two baseline gaps, or a baseline of gaps of 0: centre and limits nan, no signal.

    Raises
    ------
    ValueError
        Gaps negative or not whole, a width below 1, baseline out of range, alpha outside (0, 1).

    Notes
    -----
    Events are a Poisson process of p a unit, and the first event is anywhere in its day of width
    w. A gap of g or more has the chance ``(exp(p w) - 1) / (p w) exp(-p g)``; one of g or less the
    rest of that with g plus the width of the last day. For days, w = 1, that is a geometric
    distribution with a smaller chance of 0. After a frozen baseline of n gaps that sum to s the
    rate has a gamma distribution with shape n and rate s, over which both are averaged.

    Source: Poisson process in whole days, derived here; checked by simulation in
    ``tests/benchmarks``.

    Examples
    --------
    >>> chart = day_gap_chart([30, 41, 25, 0, 34], 1, 1)
    >>> chart.lower_limit.tolist(), chart.upper_limit.tolist()
    ([0.0, 0.0, 0.0, 0.0, 0.0], [172.0, 172.0, 172.0, 172.0, 172.0])
    """
    given = whole_numbers(np.atleast_1d(gaps), "gaps")
    first, last = (
        np.broadcast_to(whole_numbers(w, "widths"), given.shape).astype(np.float64)
        for w in (first_width, last_width)
    )
    if (first < 1).any() or (last < 1).any():
        raise ValueError("widths must be 1 or more")
    n = len(given) if baseline is None else baseline
    if len(given) and not 1 <= n <= len(given):
        raise ValueError(f"baseline must be 1 to {len(given)} gaps, but is {n}")
    tail = tail_of(1 - alpha)
    base = np.arange(len(given)) < n
    total = float(given[:n].sum())
    nothing = np.full(given.shape, np.nan)
    if n < 2 or total == 0:
        none = {rule: np.zeros(given.shape, dtype=np.bool_) for rule in GapRule}
        return DayGapChart(given, nothing, nothing, nothing, none, base)

    def beyond(reach: FloatArray) -> FloatArray:
        """Chance that the next event comes `reach` or more after the start of the first day."""
        within = np.minimum(first, reach)  # a first event later than this is beyond by itself
        later = 1 - within / first
        rate = n / total
        plain = later + np.expm1(rate * within) / (rate * first) * np.exp(-rate * reach)
        if n == len(given):
            return plain
        power = 1 - n
        near, far = (1 + (reach - within) / total), (1 + reach / total)
        averaged = later + total / ((n - 1) * first) * (near**power - far**power)
        return np.where(base, plain, averaged)

    def at_least(gap: FloatArray) -> FloatArray:
        return np.where(gap <= 0, 1.0, np.minimum(beyond(np.maximum(gap, first)), 1.0))

    def at_most(gap: FloatArray) -> FloatArray:
        return 1 - np.minimum(beyond(gap + last), 1.0)

    exact = given.astype(np.float64)
    short, long = at_most(exact), at_least(exact)
    counted = np.ones(given.shape, dtype=np.bool_)
    signals = {
        GapRule.TOO_SHORT: short <= tail,
        GapRule.LONG_WITHOUT_EVENT: long <= tail,
        GapRule.RUN_OF_SHORT: in_a_row(short < 0.5, counted),
        GapRule.RUN_OF_LONG: in_a_row(long < 0.5, counted),
    }
    lower = _first_whole(lambda gap: at_most(gap) > tail, given.shape)
    upper = _first_whole(lambda gap: at_least(gap) <= tail, given.shape) - 1
    centre = _first_whole(lambda gap: at_most(gap) >= 0.5, given.shape)
    return DayGapChart(given, centre, lower, upper, signals, base)


def _first_whole(holds: Callable[[FloatArray], BoolArray], shape: tuple[int, ...]) -> FloatArray:
    """Smallest whole number from which on it holds, for each gap."""
    low, high = np.full(shape, -1.0), np.ones(shape)
    for _ in range(_STEPS):
        if holds(high).all():
            break
        high = np.where(holds(high), high, 2 * high)
    for _ in range(_STEPS):
        if (high - low <= 1).all():
            break
        middle = np.floor((low + high) / 2)
        below = holds(middle)
        low, high = np.where(below, low, middle), np.where(below, middle, high)
    return high
