"""Since when is a rate higher, and how many times?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.stats.inputs import FloatArray, IntArray
from analysis.stats.surveillance.statistic import Cells

SPREAD = 0.6
"""Standard deviation of the logarithm of a ratio before anything is seen: it pulls ratios towards 1."""
GRID = np.exp(np.linspace(math.log(0.25), math.log(8.0), 141))
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Change:
    """The likeliest start of a rise with limits, and its ratio with limits."""

    start: int
    """Position in the starts of the cells."""
    earliest: int
    latest: int
    ratio: float
    lower: float
    upper: float


def change(cells: Cells, at: int, events: IntArray, until: int) -> Change | None:
    """Start and size of the change of one cell, as far as seen by the end of a step.

    Parameters
    ----------
    cells : Cells
        As for `log_statistic`.
    at : int
        Number of the cell.
    events : array of int, shape (steps,)
        Its counts.
    until : int
        Last step that is used.

    Returns
    -------
    Change or None
        None without baseline line-days or without a month followed. Limits hold the middle 95 % of
        what is left likely of every start followed and every ratio; the ratio is the middle one.

    Notes
    -----
    All starts are taken as equally likely before, the logarithm of the ratio as normal around 0 with
    the standard deviation `SPREAD`. A ratio that is reported because it is large is so
    adjusted towards 1. The likelihood is that of `log_statistic`, divided by the dispersion as there.

    Source: Bayesian change point on the conditional binomial likelihood, project definition;
    coverage by simulation in ``tests/benchmarks/surveillance``.
    """
    base = cells.in_baseline[at]
    days = cells.line_days[at]
    used = base | (np.arange(len(days)) >= cells.followed_from[at])
    used &= np.arange(len(days)) <= until
    summed, reached = (np.cumsum(np.where(used, x, 0)) for x in (events, days))
    possible = np.flatnonzero((cells.starts >= cells.followed_from[at]) & (cells.starts <= until))
    if not days[base].any() or not len(possible):
        return None
    since = cells.starts[possible]
    after = (summed[-1] - summed[since - 1]).astype(np.float64)
    # Before: one row a start; after: one row a start, one column a ratio.
    share = ((reached[-1] - reached[since - 1]) / reached[-1])[:, None]
    log_likelihood = after[:, None] * np.log(GRID) - summed[-1] * np.log1p((GRID - 1) * share)
    from scipy import stats  # takes long to load and is seldom needed

    log_prior = stats.norm.logpdf(np.log(GRID), 0, SPREAD)
    weight = log_likelihood / cells.dispersion[at] + log_prior
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    of_start, of_ratio = weight.sum(axis=1), weight.sum(axis=0)
    tail = (1 - CONFIDENCE) / 2
    earliest, latest = (int(possible[_quantile(of_start, q)]) for q in (tail, 1 - tail))
    lower, middle, upper = (float(GRID[_quantile(of_ratio, q)]) for q in (tail, 0.5, 1 - tail))
    likeliest = int(possible[int(of_start.argmax())])
    return Change(likeliest, min(earliest, likeliest), max(latest, likeliest), middle, lower, upper)


def _quantile(weight: FloatArray, level: float) -> int:
    """First position by which so much of the weight is reached."""
    return int(np.searchsorted(np.cumsum(weight), level * (1 - 1e-12)))
