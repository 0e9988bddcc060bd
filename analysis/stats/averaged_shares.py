"""What is known of one family's share when the data leave open how families differ?

A single best-fitting beta distribution (`analysis.stats.shrinkage`) collapses where no difference
between families is found: then everybody gets the programme's share, 1 of 22 as well as 9 of 18.
Here every beta distribution counts by how well it explains the counts, so that the uncertainty of
the spread stays part of the answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, share_counts

_ALIKENESS = (1e-3, 0.98)
"""Correlations within a family, 1 / (yes + no + 1), between which is weighed."""
_STEPS = 10
_ENOUGH_STEPS = 6
"""With fewer that count, the range is narrowed to them."""
_MEANS = 15
"""Programme shares weighed for each of them."""
_FURTHEST = 6.0
"""How far from the plain share, on the log odds, the programme's true share is searched."""
_NEGLIGIBLE = 1e-4


@dataclass(frozen=True)
class AveragedShares:
    """Beta distributions of families' shares and their weights; arrays of one shape."""

    yes: FloatArray
    no: FloatArray
    weights: FloatArray
    """Sum to 1; none at all without anything in a denominator."""

    def posterior_mean(self, numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> FloatArray:
        """Shrunk share of each family; nan when nothing is known."""
        return self._averaged(numerator, denominator, lambda a, b: a / (a + b))

    def probability_above(
        self, limit: float, numerator: npt.ArrayLike, denominator: npt.ArrayLike
    ) -> FloatArray:
        """Probability that each family's true share is above `limit`; nan when nothing is known."""
        return self._averaged(numerator, denominator, lambda a, b: special.betaincc(a, b, limit))

    def _averaged(
        self,
        numerator: npt.ArrayLike,
        denominator: npt.ArrayLike,
        of: Callable[[FloatArray, FloatArray], FloatArray],
    ) -> FloatArray:
        """Weighted mean over the distributions, once for each distinct family."""
        hits, out_of = share_counts(numerator, denominator)
        shape = hits.shape
        if not len(self.weights):
            return np.full(shape, math.nan)
        pairs, place = np.unique(
            np.column_stack((hits.ravel(), out_of.ravel())), axis=0, return_inverse=True
        )
        # One row: a distinct family; one column: a distribution.
        misses = pairs[:, 1:] - pairs[:, :1]
        values = of(self.yes + pairs[:, :1], self.no + misses)
        return np.asarray((values @ self.weights)[place.ravel()].reshape(shape))


def average_shares(numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> AveragedShares:
    """Weigh the beta distributions of families' shares by how well they explain the counts.

    Parameters
    ----------
    numerator, denominator : array_like of int, shape (families,)
        For example missed and seen occasions of each caregiver. Those with denominator 0 say
        nothing and get the programme's share.

    Returns
    -------
    AveragedShares
        Nothing or everything missed, or one family: little is known of the spread, and the answer
        is as wide as that. No denominator at all: every answer is nan.

    Raises
    ------
    ValueError
        Counts that are not whole, negative or above their denominator.

    Notes
    -----
    Weights are the beta-binomial likelihood times a prior: uniform for the correlation within a
    family, which is proper and allows every spread (the uniform shrinkage prior), Jeffreys for
    the programme's share; integrals are sums over a grid.

    Source: beta-binomial likelihood; uniform shrinkage prior: Daniels, Canadian Journal of
    Statistics 1999;27:567 (from memory). The grid is a choice of this project.

    Examples
    --------
    >>> found = average_shares([1, 9, 4, 5, 4], [22, 18, 20, 20, 18])
    >>> found.posterior_mean([1, 9], [22, 18]).round(2).tolist()
    [0.1, 0.43]
    """
    counts, tries = share_counts(np.atleast_1d(numerator), np.atleast_1d(denominator))
    hits, out_of = (c[tries > 0].astype(np.float64) for c in (counts, tries))
    if not len(hits):
        nothing = np.zeros(0)
        return AveragedShares(nothing, nothing, nothing)
    low, high = (math.log(c / (1 - c)) for c in _ALIKENESS)
    while True:
        steps = np.linspace(low, high, _STEPS)
        yes, no, log_weight = _grid(hits, out_of, special.expit(steps))
        weights = special.softmax(log_weight)
        counting = np.flatnonzero(weights.sum(axis=1) > _NEGLIGIBLE)
        if len(counting) >= _ENOUGH_STEPS:
            break
        low = float(steps[max(counting[0] - 1, 0)])
        high = float(steps[min(counting[-1] + 1, _STEPS - 1)])
    used = weights > _NEGLIGIBLE
    return AveragedShares(yes[used], no[used], weights[used] / weights[used].sum())


def _grid(
    hits: FloatArray, out_of: FloatArray, alike: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Both parameters and log weights, shape (correlations, means)."""
    total, tries, families = float(hits.sum()), float(out_of.sum()), len(hits)
    centre = math.log((total + 0.5) / (tries - total + 0.5))
    within = 1 / (total + 0.5) + 1 / (tries - total + 0.5)
    between = alike / (1 - alike) / families
    share = special.expit(centre)
    reach = np.minimum(5 * np.sqrt(within + between / (share * (1 - share))), _FURTHEST)
    log_odds = centre + reach[:, None] * np.linspace(-1, 1, _MEANS)
    both = (1 / alike - 1)[:, None]
    yes, no = both * special.expit(log_odds), both * special.expit(-log_odds)
    # The log-likelihood needs each distinct number of hits, of misses and of tries once.
    log_weight = _summed(yes, hits) + _summed(no, out_of - hits) - _summed(both + 0 * yes, out_of)
    # Priors: Jeffreys of the share and uniform of the correlation, and the width of a step, on
    # the log odds of both.
    log_weight += (special.log_expit(log_odds) + special.log_expit(-log_odds)) / 2
    log_weight += (np.log(alike) + np.log1p(-alike) + np.log(reach))[:, None]
    return yes, no, log_weight


def _summed(parameter: FloatArray, counts: FloatArray) -> FloatArray:
    """Sum over families of log Gamma(parameter + count) - log Gamma(parameter)."""
    values, times = np.unique(counts, return_counts=True)
    added = special.gammaln(parameter[..., None] + values) - special.gammaln(parameter)[..., None]
    return np.asarray(added @ times.astype(np.float64))
