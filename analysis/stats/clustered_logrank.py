"""Do groups of lines end at different rates, when lines of one family tend to end alike?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import fdtrc

from analysis.stats.day_table import DayTable, day_tables
from analysis.stats.inputs import whole_numbers
from analysis.stats.logrank import LogRank, logrank

FEWEST_FAMILIES = 5
"""More families than groups by at least so many have to have an end, else no p is given."""


def clustered_logrank(
    entry_days: npt.ArrayLike,
    exit_days: npt.ArrayLike,
    ended: npt.ArrayLike,
    groups: npt.ArrayLike,
    families: npt.ArrayLike,
) -> LogRank:
    """Compare groups by the log-rank test, with families as the independent units.

    Parameters
    ----------
    entry_days, exit_days : array_like of int, shape (lines,)
        Days since placement on which each line came under observation and was last seen; all
        with time at risk.
    ended : array_like of bool, shape (lines,)
        The line ended on its exit day by the event.
    groups : array_like of int, shape (lines,)
        Code of the group, from 0; two groups or more.
    families : array_like of int, shape (lines,)
        Code of the family; a family may be in several groups.

    Returns
    -------
    LogRank
        With one line in every family the plain test. Else `statistic` is the score over its
        variance between families, and `p` that of F with `df` and k - df degrees of freedom, k
        being the families with an end. Fewer than `df` plus `FEWEST_FAMILIES` of them: p nan.

    Raises
    ------
    ValueError
        Columns of unequal length, or what `day_tables` and `logrank` refuse.

    Notes
    -----
    *Source:* each line's part of the log-rank score, its own event less what the risk sets it was
    in lead to expect, summed by family: the sandwich of Lin and Wei, J Am Stat Assoc
    1989;84:1074, at no difference (from memory). The F distribution in place of chi-squared is
    Hotelling's, a choice of this project; simulated in ``tests/benchmarks/simulate_programmes``.

    Examples
    --------
    >>> lines = ([0] * 8, [2, 2, 9, 9, 3, 3, 8, 8], [True] * 8, [0, 0, 0, 0, 1, 1, 1, 1])
    >>> pairs = clustered_logrank(*lines, [0, 0, 1, 1, 2, 2, 3, 3])
    >>> bool(np.isnan(pairs.p)), clustered_logrank(*lines, range(8)).df
    (True, 1)
    """
    entry, leave = whole_numbers(entry_days, "entry_days"), whole_numbers(exit_days, "exit_days")
    event = np.asarray(ended, dtype=np.bool_)
    group, family = whole_numbers(groups, "groups"), np.asarray(families)
    n_groups = int(group.max(initial=-1)) + 1
    tables = day_tables(entry, leave, event.astype(np.int64), group, n_causes=1, n_groups=n_groups)
    plain = logrank(tables)
    family = np.unique(family, return_inverse=True)[1]
    if plain.df == 0 or len(np.unique(family)) == len(family):
        return plain
    score = _by_line(entry, leave, event, group, tables)
    # Before: one row a line; after: one row a family.
    units = np.zeros((int(family.max()) + 1, n_groups))
    np.add.at(units, family, score)
    with_end = len(np.unique(family[event]))
    used = plain.df
    if with_end < used + FEWEST_FAMILIES:
        return LogRank(float("nan"), used, float("nan"), plain.observed, plain.expected)
    total = units.sum(axis=0)
    variance = units.T @ units * with_end / (with_end - 1)
    statistic = float(total @ np.linalg.pinv(variance, rcond=1e-10) @ total)
    p = float(fdtrc(used, with_end - used, statistic * (with_end - used) / (used * (with_end - 1))))
    return LogRank(statistic, used, p, plain.observed, plain.expected)


def _by_line(
    entry: npt.NDArray[np.int64],
    leave: npt.NDArray[np.int64],
    event: npt.NDArray[np.bool_],
    group: npt.NDArray[np.int64],
    tables: tuple[DayTable, ...],
) -> npt.NDArray[np.float64]:
    """Observed less expected events of each line, by group; shape (lines, groups)."""
    length = max(table.n_days for table in tables)
    at_risk, ends = np.zeros((2, len(tables), length))
    for row, table in enumerate(tables):
        at_risk[row, : table.n_days] = table.at_risk
        ends[row, : table.n_days] = table.removed
    everybody = at_risk.sum(axis=0)
    hazard = np.divide(ends.sum(axis=0), everybody, out=np.zeros(length), where=everybody > 0)
    share = np.divide(at_risk, everybody, out=np.zeros(at_risk.shape), where=everybody > 0)
    summed, summed_share = np.cumsum(hazard), np.cumsum(hazard * share, axis=1)
    own = np.eye(len(tables))[group]
    expected = own * (summed[leave] - summed[entry])[:, None]
    expected -= (summed_share[:, leave] - summed_share[:, entry]).T
    observed = event[:, None] * (own - share[:, leave].T)
    return np.asarray(observed - expected)
