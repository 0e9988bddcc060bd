"""What is one family's rate when few events show how families differ?

The best-fitting gamma distribution of families' rates may be badly off where events are rare: with twenty families all alike and a month each, it called some family
worse than twice the programme, with probability over 0.8, in one programme of eight (simulated).
Here every gamma distribution counts by how well it explains the events, and it is one in thirty.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, IntArray, exposures, whole_numbers

_SPREADS = (0.05, 4.0)
"""Coefficients of variation of families' true rates between which is weighed."""
_STEPS = 14
_ENOUGH_STEPS = 7
"""With fewer that count, the range is narrowed to them."""
_MEANS = 31
"""Programme rates weighed for each of them."""
_FURTHEST = 3.0
"""Logarithm of how far from the plain rate the programme's true rate is looked for: a factor 20."""
_NEGLIGIBLE = 1e-5


@dataclass(frozen=True)
class AveragedRates:
    """Gamma distributions of families' rates and their weights; arrays of one shape."""

    shapes: FloatArray
    rates: FloatArray
    """Inverse scales."""
    weights: FloatArray
    """Sum to 1; none at all without exposure."""

    def posterior_mean(self, events: npt.ArrayLike, exposure: npt.ArrayLike) -> FloatArray:
        """Shrunk rate of each family, events per unit of exposure; nan when nothing is known."""
        return self._averaged(events, exposure, lambda shape, rate: shape / rate)

    def probability_above(
        self, limit: float, events: npt.ArrayLike, exposure: npt.ArrayLike
    ) -> FloatArray:
        """Probability that each family's true rate is above `limit`, per unit of exposure."""
        return self._averaged(
            events, exposure, lambda shape, rate: special.gammaincc(shape, rate * limit)
        )

    def _averaged(
        self,
        events: npt.ArrayLike,
        exposure: npt.ArrayLike,
        of: Callable[[FloatArray, FloatArray], FloatArray],
    ) -> FloatArray:
        """Weighted mean over the distributions, once for each distinct family."""
        counts, size = _counted(events, exposure)
        shape = counts.shape
        if not len(self.weights):
            return np.full(shape, math.nan)
        pairs, place = np.unique(
            np.column_stack((counts.ravel(), size.ravel())), axis=0, return_inverse=True
        )
        # One row: a distinct family; one column: a distribution.
        values = of(self.shapes + pairs[:, :1], self.rates + pairs[:, 1:])
        return np.asarray((values @ self.weights)[place.ravel()].reshape(shape))


def average_rates(events: npt.ArrayLike, exposure: npt.ArrayLike) -> AveragedRates:
    """Weigh the gamma distributions of families' rates by how well they explain the events.

    Parameters
    ----------
    events : array_like of int, shape (families,)
        Events of each family.
    exposure : array_like, shape (families,)
        Line-days, or expected events. Families with 0 say nothing and get the programme's rate.

    Returns
    -------
    AveragedRates
        Zero events, or one family: little is known of the spread, and the answer is as wide as
        that. No exposure at all: every answer is nan.

    Raises
    ------
    ValueError
        Counts not whole or negative, exposure negative or not finite.

    Notes
    -----
    Weights are the negative binomial likelihood times a prior: half-Cauchy of scale 1 for the
    coefficient of variation, Jeffreys for the programme's rate; sums over a grid stand for
    integrals.

    Source: Clayton and Kaldor, Biometrics 1987;43:671 (model); half-Cauchy prior of a
    between-group scale: Gelman, Bayesian Analysis 2006;1:515 (from memory). The grid is a choice
    of this project.

    Examples
    --------
    >>> found = average_rates([0, 1, 9, 0, 2, 7], [100] * 6)
    >>> found.posterior_mean([9, 0], [100, 100]).round(3).tolist()
    [0.082, 0.005]
    """
    counts, size = _counted(np.atleast_1d(events), np.atleast_1d(exposure))
    counts, size = counts[size > 0], size[size > 0]
    if not len(size):
        nothing = np.zeros(0)
        return AveragedRates(nothing, nothing, nothing)
    pairs, times = np.unique(np.column_stack((counts, size)), axis=0, return_counts=True)
    x, d = pairs[:, 0], pairs[:, 1]

    low, high = _SPREADS
    while True:
        spreads = np.geomspace(low, high, _STEPS)
        shapes, rates, log_weight = _grid(x, d, times, spreads)
        weights = special.softmax(log_weight)
        counting = np.flatnonzero(weights.sum(axis=1) > _NEGLIGIBLE)
        if len(counting) >= _ENOUGH_STEPS:
            break
        low = spreads[max(counting[0] - 1, 0)]
        high = spreads[min(counting[-1] + 1, _STEPS - 1)]
    used = weights > _NEGLIGIBLE
    return AveragedRates(shapes[used], rates[used], weights[used] / weights[used].sum())


def _grid(
    x: FloatArray, d: FloatArray, times: IntArray, spreads: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shapes, inverse scales and log weights, shape (spreads, means)."""
    total, families = float(times @ x), float(times.sum())
    centre = math.log((total + 0.5) / float(times @ d))
    shapes = np.repeat(spreads[:, None] ** -2, _MEANS, axis=1)
    reach = np.minimum(4 * np.sqrt(1 / (total + 0.5) + spreads**2 / families), _FURTHEST)
    log_mean = centre + reach[:, None] * np.linspace(-1, 1, _MEANS)
    rates = shapes / np.exp(log_mean)
    log_weight = np.empty_like(rates)
    for i, shape in enumerate(shapes[:, 0]):
        common = times @ (special.gammaln(shape + x) - special.gammaln(shape))
        by_mean = shape * np.log(rates[i])[:, None] - (shape + x) * np.log(rates[i][:, None] + d)
        log_weight[i] = common + by_mean @ times
    # Jeffreys' prior, and the width of a step, both on the logarithms.
    log_weight += log_mean / 2 + np.log(spreads / (1 + spreads**2) * reach)[:, None]
    return shapes, rates, log_weight


def _counted(events: npt.ArrayLike, exposure: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Counts and exposures of one shape."""
    counts, size = np.broadcast_arrays(
        whole_numbers(events, "events"), exposures(exposure, "exposure")
    )
    return counts.astype(np.float64), size
