"""What share of lines has ended by each cause, when another cause may come first?

Aalen–Johansen cumulative incidence with delayed entry and many ends on one day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.stats.curve_limits import (
    NEXT_TO_NOTHING,
    limit_without_events,
    log_log_limits,
    never_rising,
    normal_quantile,
)
from analysis.stats.day_table import DayTable, Floats, Ints
from analysis.stats.survival import DayRows, days_from


@dataclass(frozen=True, eq=False)
class Incidence(DayRows):
    """Cumulative incidence by day and cause, each shape (n, n_causes); column 0 is cause 1."""

    share: Floats
    """Share of lines that have ended by the cause at the end of that day."""
    std_error: Floats
    """Greenwood-type standard error of the share."""
    lower: Floats
    """Lower limit of the share."""
    upper: Floats
    """Upper limit of the share."""


def aalen_johansen(table: DayTable, *, start: int = 0, confidence: float = 0.95) -> Incidence:
    """Share of lines ended by each cause by day, with pointwise cloglog limits.

    The share still in place and the shares of all causes add up to 1 on every day; with one
    cause the share is 1 minus Kaplan–Meier.

    Parameters
    ----------
    table : DayTable
        Counts of lines by day and cause.
    start : int, default 0
        Shares are of the lines in place on this day since placement, as in
        :func:`analysis.stats.survival.kaplan_meier`.
    confidence : float in (0, 1), default 0.95
        Two-sided, at each day by itself.

    Returns
    -------
    Incidence
        One row a day from `start` to the last day on which anybody was at risk. Before the first
        event of a cause its limits are 0 and the exact ``1 - (alpha / 2) ** (1 / n)``, n being
        the fewest at risk on any day so far. Once every line has ended by one cause the lower
        limit stays as it was and the upper is 1.

    Raises
    ------
    ValueError
        `start` is negative or nobody was at risk after it, or `confidence` is not between 0 and 1.

    Notes
    -----
    *Source:* the Greenwood-type variance that Allignol, Schumacher & Beyersmann, Biometrical
    Journal 52 (2010) 126, recommend under delayed entry (abstract read); written here as the sum
    of (F(t) - F(s))**2 d/(n(n - d)) + S(s-)**2 d1(n - d1)/n**3 - 2 (F(t) - F(s)) S(s-) d1/n**2
    (from memory; equal to the recursion in the tests' oracle). Limits: log(-log(1 - F)), as
    in Beyersmann and others 2011, equation 4.21 (as cited in the R package timeEL). Limit without
    events: P(no event of the cause) <= (1 - F) ** n, as in Kaplan–Meier.

    Examples
    --------
    Four lines: cause 1 on day 2, cause 2 on day 3, two still in place on day 4.

    >>> from analysis.stats.day_table import day_table
    >>> found = aalen_johansen(day_table([0] * 4, [2, 3, 4, 4], [1, 2, 0, 0], n_causes=2))
    >>> found.share[-1].tolist(), float(found.survival[-1])
    ([0.25, 0.25], 0.5)
    """
    z = normal_quantile(confidence)
    day, at_risk, events = days_from(table, start)
    n = np.maximum(at_risk, 1)
    removed = events.sum(axis=1)
    survival = np.cumprod(1.0 - removed / n)
    before = np.concatenate(([1.0], survival[:-1]))
    share = np.cumsum(before[:, None] * events / n[:, None], axis=0)
    std_error = np.sqrt(_variance(share, before, events, removed, n))
    stay_lower, stay_upper = log_log_limits(1 - share, std_error, z)
    lower, upper = 1 - stay_upper, 1 - stay_lower
    highest = 1 - limit_without_events(at_risk, confidence)
    for cause in range(table.n_causes):
        _limits_at_the_ends(share[:, cause], lower[:, cause], upper[:, cause], highest)
    for cause in range(share.shape[1]):
        stay = never_rising(1 - upper[:, cause], 1 - lower[:, cause])
        upper[:, cause], lower[:, cause] = 1 - stay[0], 1 - stay[1]
    return Incidence(day, at_risk, events, survival, share, std_error, lower, upper)


def _variance(share: Floats, before: Floats, events: Ints, removed: Ints, n: Ints) -> Floats:
    """Greenwood-type variance by day and cause, from running sums; shape (n, n_causes).

    (F(t) - F(s))**2 and (F(t) - F(s)) are multiplied out, so that each sum over s <= t runs once.
    """
    staying = n - removed
    # Where nobody stays F is constant from then on and the term is 0.
    spread = np.where(staying > 0, removed / (n * np.maximum(staying, 1)), 0.0)[:, None]
    n_ = n[:, None].astype(np.float64)
    own = before[:, None] * events / n_**2
    total = (
        share**2 * np.cumsum(spread, axis=0)
        - 2 * share * np.cumsum(share * spread + own, axis=0)
        + np.cumsum(
            share**2 * spread
            + before[:, None] ** 2 * events * (n_ - events) / n_**3
            + 2 * share * own,
            axis=0,
        )
    )
    return np.maximum(total, 0.0)


def _limits_at_the_ends(share: Floats, lower: Floats, upper: Floats, highest: Floats) -> None:
    """Fill in the limits where a share is 0 or 1 (in place): the log scale has none there."""
    none = share < NEXT_TO_NOTHING
    lower[none] = 0.0
    upper[none] = highest[none]
    every = share > 1 - NEXT_TO_NOTHING
    if every.any():
        first = int(np.argmax(every))
        lower[every] = lower[first - 1]
        upper[every] = 1.0
