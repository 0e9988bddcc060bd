"""How strong is the evidence, at each step of time, that a rate has risen since its baseline?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.inputs import FloatArray, IntArray

RATIOS = (1.5, 2.0, 3.0)
"""Rises that are looked for, each with the same weight."""

MOST_EVIDENCE = {np.float32: 80.0, np.float64: 700.0}
"""Logarithm of the likelihood ratio of one start and ratio above which more makes no difference: a
sum of thousands of them is still a number."""


@dataclass(frozen=True)
class Cells:
    """Cells that are followed over the same steps of time, each with a baseline of its own."""

    line_days: FloatArray
    """Shape (cells, steps): days on which the event could be known, times their season."""
    starts: IntArray
    """Steps with which a month begins, in order; a rise may start with each of them."""
    baseline_from: IntArray
    """Shape (cells,): first step of the baseline."""
    followed_from: IntArray
    """Shape (cells,): first step after the baseline; the number of steps: not followed yet."""
    dispersion: FloatArray
    """Shape (cells,): variance over mean of a cell's count, 1 or more."""

    @property
    def in_baseline(self) -> npt.NDArray[np.bool_]:
        """Shape (cells, steps)."""
        step = np.arange(self.line_days.shape[1])
        after = step >= self.baseline_from[:, None]
        return np.asarray(after & (step < self.followed_from[:, None]))


def log_statistic(cells: Cells, events: npt.ArrayLike) -> FloatArray:
    """Logarithm of the Shiryaev-Roberts statistic at the end of each step.

    For a rise by a ratio at a start, the evidence is the likelihood ratio of the events since the
    start given these and the events before it together, from the first day of the baseline on: a
    binomial count, so that the rate before need not be known. The statistic is the sum over all starts so far of the
    mean over `RATIOS`.

    Parameters
    ----------
    cells : Cells
        Line-days, starts and baselines.
    events : array_like of int, shape (..., cells, steps)
        Counts; leading axes are replicates.

    Returns
    -------
    array of float, shape (..., cells, steps)
        ``-inf`` before the first start of a cell, and throughout without baseline line-days.

    Notes
    -----
    If the rate is steady each likelihood ratio has the mean 1 given the two counts together, so the
    statistic has the mean of the number of starts so far, at any volume of the cell: one threshold
    serves all cells. Logarithms of ratios are divided by the dispersion.

    Source: Shiryaev-Roberts procedure as in Pollak, Ann Stat 1985;13:206 (from memory); the
    conditional likelihood of two Poisson counts is binomial (Przyborowski and Wilenski, Biometrika
    1940;31:313, from memory). Joining both is a choice of this project.

    Examples
    --------
    >>> month = np.array([0, 1, 2])
    >>> cells = Cells(np.full((1, 3), 100.0), month, np.array([0]), np.array([1]), np.ones(1))
    >>> np.exp(log_statistic(cells, [[5, 5, 20]])).round(1).tolist()
    [[0.0, 0.5, 336.8]]
    """
    counts = np.asarray(events)
    kind = np.float32 if counts.ndim > 2 else np.float64
    base = cells.in_baseline
    used = base | (np.arange(counts.shape[-1]) >= cells.followed_from[:, None])
    summed = np.cumsum(np.where(used, counts, 0), axis=-1, dtype=kind)
    reached = np.cumsum(np.where(used, cells.line_days, 0.0), axis=1)
    has_baseline = np.where(base, cells.line_days, 0.0).sum(axis=1) > 0
    total = np.zeros(counts.shape, dtype=kind)
    most = kind(MOST_EVIDENCE[kind])
    # The loop runs over the months followed, each with all cells and replicates.
    for start in cells.starts:
        here = (cells.followed_from <= start) & has_baseline
        if not here.any():
            continue
        both, whole = summed[..., start:], reached[:, start:]
        after = np.subtract(both, summed[..., start - 1 : start])
        days = whole - reached[:, start - 1 : start]
        share = np.divide(days, whole, out=np.zeros_like(days), where=here[:, None])
        weight = np.where(here, 1 / len(RATIOS), 0.0).astype(kind)[:, None]
        for ratio in RATIOS:
            gain = np.log(ratio) / cells.dispersion[:, None]
            cost = np.log1p((ratio - 1) * share) / cells.dispersion[:, None]
            found = after * gain.astype(kind)
            found -= both * cost.astype(kind)
            np.exp(np.minimum(found, most, out=found), out=found)
            found *= weight
            total[..., start:] += found
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(total), dtype=np.float64)
