"""Do groups of lines end at different rates, when lines come under observation late?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from analysis.stats.day_table import DayTable, Floats, Ints


@dataclass(frozen=True, eq=False)
class LogRank:
    """Log-rank test of equal hazards.

    `statistic` is chi-squared with `df` degrees of freedom, `p` its upper tail; both nan when
    `df` is 0: nothing can be compared. `observed` and `expected` are events by group.
    """

    statistic: float
    df: int
    p: float
    observed: Ints
    expected: Floats


def logrank(tables: Sequence[DayTable], *, cause: int | None = None) -> LogRank:
    """Compare groups by the log-rank test, each line at risk only from its entry on.

    Lines are taken as independent. Where lines of one family tend to end alike and a family is
    in one group, p is too small: of 100 simulated programmes without a difference a test at 5 %
    found one in 12 with three lines a family and in 31 with ten, Cox regression with the family
    as its cluster in 5 and 6 (tests/benchmarks/simulate_dwell.py).

    Parameters
    ----------
    tables : sequence of DayTable
        One a group, at least two.
    cause : int, optional
        Count only ends by this cause, 1 to n_causes; other ends are censored. The test is then
        of the hazard of the cause while a line is in place, not of its cumulative incidence.

    Returns
    -------
    LogRank
        Groups that were never at risk together with another on a day that tells anything lower
        `df`. No events, or one such group left: df 0, statistic and p nan.

    Raises
    ------
    ValueError
        Fewer than two tables, an unknown cause, or tables with different numbers of causes.

    Notes
    -----
    *Source:* Mantel 1966, Peto & Peto 1972; variance of the multivariate hypergeometric
    distribution, Klein & Moeschberger, equation 7.3.5; risk sets n(t) with delayed entry,
    section 7.3 (all from memory; values checked against R).

    Examples
    --------
    >>> from analysis.stats.day_table import day_table
    >>> early = day_table([0, 0], [1, 2], [1, 1], n_causes=1)
    >>> late = day_table([0, 0], [3, 4], [1, 1], n_causes=1)
    >>> found = logrank([early, late])
    >>> round(found.statistic, 4), found.df
    (2.8824, 1)
    """
    if len(tables) < 2:
        raise ValueError(f"a comparison needs two groups or more, not {len(tables)}")
    events, at_risk = _counts(tables, cause)
    d = events.sum(axis=0)
    n = at_risk.sum(axis=0)
    expected = (at_risk * (d / n)).sum(axis=1)
    observed = events.sum(axis=1)
    # A day tells something when not all at risk end on it.
    spread = d * (n - d) / (n * np.maximum(n - 1, 1))
    parts = at_risk / n
    variance = np.diag((parts * spread * n).sum(axis=1)) - (parts * spread * n) @ parts.T
    used = _one_less_of_each_linked_set(at_risk[:, n > d] > 0)
    df = len(used)
    if df == 0:
        return LogRank(float("nan"), 0, float("nan"), observed, expected)
    excess = (observed - expected)[used]
    statistic = float(excess @ np.linalg.solve(variance[np.ix_(used, used)], excess))
    return LogRank(statistic, df, float(chdtrc(df, statistic)), observed, expected)


def _counts(tables: Sequence[DayTable], cause: int | None) -> tuple[Ints, Ints]:
    """Events and lines at risk, each shape (n_groups, n_event_days)."""
    n_causes = tables[0].n_causes
    if cause is not None and not 1 <= cause <= n_causes:
        raise ValueError(f"cause must be 1 to {n_causes}, not {cause}")
    whole = sum(tables, DayTable.empty(n_causes))
    counted = whole.removed if cause is None else whole.events[:, cause - 1]
    days = np.flatnonzero(counted)
    events = np.zeros((len(tables), len(days)), np.int64)
    at_risk = np.zeros_like(events)
    for row, table in enumerate(tables):
        inside = days < table.n_days
        own = table.removed if cause is None else table.events[:, cause - 1]
        events[row, inside] = own[days[inside]]
        at_risk[row, inside] = table.at_risk[days[inside]]
    return events, at_risk


def _one_less_of_each_linked_set(present: np.ndarray[tuple[int, int], np.dtype[np.bool_]]) -> Ints:
    """Groups to keep: of each set that shares days at risk all but one, the rest follows."""
    together = present.astype(np.int64) @ present.T.astype(np.int64)
    from scipy.sparse.csgraph import connected_components  # takes long to load

    _, linked_set = connected_components(together, directed=False)
    _, first = np.unique(linked_set, return_index=True)
    return np.setdiff1d(np.arange(len(present)), first)
