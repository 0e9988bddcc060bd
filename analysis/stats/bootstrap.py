"""How sure is a share when days and intervals of one family are alike?

Families are the independent unit, so they are what is drawn again, never their days or intervals
(definitions §3). A share is a ratio of sums: of intervals on time over intervals scored, or of
in-date days over all scored days.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.intervals import FloatArray, IntArray, share_counts, tail_of, whole_numbers

REPLICATES = 1000
SEED = 20_011
_CELLS = 1_000_000
"""Resampling weights held in memory at a time."""


@dataclass(frozen=True)
class ClusterShareInterval:
    """Share (0-1) and limits by group; all fields have shape (n_groups,)."""

    numerator: IntArray
    denominator: IntArray
    families: IntArray
    """Families with anything in the denominator."""
    share: FloatArray
    """nan where the denominator is 0."""
    lower: FloatArray
    """nan where fewer than two families count."""
    upper: FloatArray
    confidence: float


def cluster_share_interval(
    numerators: npt.ArrayLike,
    denominators: npt.ArrayLike,
    groups: npt.ArrayLike | None = None,
    *,
    n_groups: int | None = None,
    confidence: float = 0.95,
    replicates: int = REPLICATES,
    seed: int = SEED,
) -> ClusterShareInterval:
    """Ratio of sums with percentile limits from drawing whole families again.

    In each group its families are drawn with replacement, as many as there are, and the ratio of
    sums is taken; the limits are percentiles of `replicates` such ratios. A group's limits depend
    on its own families only, on the seed, and on no order of rows.

    Parameters
    ----------
    numerators, denominators : array_like of int, shape (n,)
        One entry a family and group (sum a family's rows first), for example intervals on time
        and intervals scored. An entry with denominator 0 says nothing and is not a family here.
    groups : array_like of int, shape (n,), optional
        Group of each entry, 0 to ``n_groups - 1``. Without it all entries are one group.
    n_groups : int, optional
        Default: highest group + 1.
    confidence : float in (0, 1)
        Two-sided.
    replicates : int
        Times the families are drawn.
    seed : int
        Of the random generator; every group starts from it.

    Returns
    -------
    ClusterShareInterval
        Shares, 0-1. No denominator: share and limits nan. One family: a share without limits
        (nan), since nothing tells how far another family would differ. All families wholly
        at 0 or at 1: no draw differs, and the open limit is the exact one of so many families
        counted as one yes-or-no each, which holds whatever their sizes.

    Raises
    ------
    ValueError
        Counts that are not whole, negative or above their denominator; groups out of range;
        confidence outside (0, 1).

    Notes
    -----
    Families with equal numerator and denominator are drawn together: the counts of the distinct
    pairs are multinomial, which is the same distribution and far fewer draws. Sums are of whole
    numbers below 2**53 and therefore exact.

    Source: definitions §3; Davison and Hinkley, Bootstrap Methods and their Application (1997),
    percentile method (from memory).

    Examples
    --------
    >>> found = cluster_share_interval([4, 2, 0, 5], [4, 4, 4, 5])
    >>> found.families.tolist(), found.share.round(3).tolist()
    ([4], [0.647])
    >>> bool(found.lower[0] < found.share[0] < found.upper[0])
    True
    >>> cluster_share_interval([3], [4]).lower.tolist()
    [nan]
    """
    yes, out_of = share_counts(np.atleast_1d(numerators), np.atleast_1d(denominators))
    group = np.zeros(yes.shape, np.int64) if groups is None else whole_numbers(groups, "groups")
    if group.shape != yes.shape:
        raise ValueError(f"groups has {group.size} entries, but there are {yes.size} numerators")
    n = _number_of_groups(group, n_groups)
    tail = tail_of(confidence)

    kept = out_of > 0
    yes, out_of, group = yes[kept], out_of[kept], group[kept]
    families = np.bincount(group, minlength=n)
    numerator = _sums(yes, group, n)
    denominator = _sums(out_of, group, n)
    share = np.full(n, np.nan)
    np.divide(numerator, denominator, out=share, where=denominator > 0)

    lower, upper = np.full(n, np.nan), np.full(n, np.nan)
    several = families >= 2
    none_of_it = several & (numerator == 0)
    all_of_it = several & (numerator == denominator)
    # Were the mean of the families' shares s, at most s of all families could be wholly at 1.
    with np.errstate(divide="ignore"):
        edge = tail ** (1 / families)
    lower[none_of_it], upper[none_of_it] = 0.0, 1 - edge[none_of_it]
    lower[all_of_it], upper[all_of_it] = edge[all_of_it], 1.0

    order = np.lexsort((yes, out_of, group))
    ends = np.cumsum(families)
    for g in np.flatnonzero(several & ~none_of_it & ~all_of_it):
        rows = order[ends[g] - families[g] : ends[g]]
        drawn = _drawn_shares(yes[rows], out_of[rows], replicates, np.random.default_rng(seed))
        lower[g], upper[g] = np.quantile(drawn, [tail, 1 - tail])
    return ClusterShareInterval(
        numerator, denominator, families.astype(np.int64), share, lower, upper, confidence
    )


def _drawn_shares(
    numerators: IntArray, denominators: IntArray, replicates: int, rng: np.random.Generator
) -> FloatArray:
    """Ratio of sums in each resample of one group's families."""
    pairs, times = np.unique(
        np.column_stack((numerators, denominators)), axis=0, return_counts=True
    )
    sizes = pairs.astype(np.float64)
    families = int(times.sum())
    chunk = max(1, _CELLS // len(times))
    parts = []
    for start in range(0, replicates, chunk):
        size = min(chunk, replicates - start)
        weights = rng.multinomial(families, times / families, size=size)
        parts.append(weights.astype(np.float64) @ sizes)
    sums = np.concatenate(parts)
    return np.asarray(sums[:, 0] / sums[:, 1])


def _number_of_groups(group: IntArray, n_groups: int | None) -> int:
    """Number of groups, given or as the highest one says."""
    highest = int(group.max(initial=-1))
    if n_groups is None:
        return max(highest + 1, 1)
    if highest >= n_groups:
        raise ValueError(f"groups holds {highest}, but n_groups is {n_groups}")
    return n_groups


def _sums(values: IntArray, group: IntArray, n: int) -> IntArray:
    """Exact sum of whole numbers by group."""
    total = np.zeros(n, np.int64)
    np.add.at(total, group, values)
    return total
