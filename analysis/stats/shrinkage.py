"""What is one family's share, given how families differ?

A family's own share is mostly chance. It is adjusted towards the programme average by as much as
its few outcomes deserve: families' true shares follow a beta distribution that is fitted to all of
them, and each family gets the distribution of its true share given its own outcomes.

The fitted distribution is taken as known, which does little harm to shares; rates of rare events
have `analysis.stats.averaged_rates`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from analysis.stats.inputs import FloatArray, share_counts

_LOG_BOUNDS = (-12.0, 18.0)
"""Where the logarithms of both parameters are looked for."""


@dataclass(frozen=True)
class BetaBinomial:
    """Shares of families about the programme's: beta with parameters `yes` and `no`.

    Both are inf where families differ no more than by chance: then all have one share.
    """

    yes: float
    no: float
    numerator: int
    denominator: int

    @property
    def mean(self) -> float:
        """Share, 0-1; nan without anything in the denominator."""
        if math.isinf(self.yes):
            return self.numerator / self.denominator if self.denominator else math.nan
        return self.yes / (self.yes + self.no)

    @property
    def is_heterogeneous(self) -> bool:
        """Whether families were found to differ beyond chance."""
        return math.isfinite(self.yes)

    def posterior_mean(self, numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> FloatArray:
        """Shrunk share of each family."""
        yes, out_of = share_counts(numerator, denominator)
        if not self.is_heterogeneous:
            return np.full(yes.shape, self.mean)
        return np.asarray((self.yes + yes) / (self.yes + self.no + out_of))

    def probability_above(
        self, limit: float, numerator: npt.ArrayLike, denominator: npt.ArrayLike
    ) -> FloatArray:
        """Probability that the true share of each family is above `limit`."""
        a, b = self._posterior(numerator, denominator)
        return np.asarray(special.betaincc(a, b, limit))

    def _posterior(
        self, numerator: npt.ArrayLike, denominator: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Both parameters of each family's true share."""
        yes, out_of = share_counts(numerator, denominator)
        if not self.is_heterogeneous:
            if self.denominator == 0:
                return np.full(yes.shape, math.nan), np.full(yes.shape, math.nan)
            no = self.denominator - self.numerator
            return np.full(yes.shape, self.numerator + 0.5), np.full(yes.shape, no + 0.5)
        return np.asarray(self.yes + yes), np.asarray(self.no + out_of - yes)


def fit_beta_binomial(numerator: npt.ArrayLike, denominator: npt.ArrayLike) -> BetaBinomial:
    """Fit the beta distribution of families' shares by maximum likelihood.

    Parameters
    ----------
    numerator, denominator : array_like of int, shape (families,)
        For example late intervals and scored intervals of each family. Families with
        denominator 0 say nothing and get the programme's share.

    Returns
    -------
    BetaBinomial
        One family, a share of 0 or 1 throughout, one outcome a family, or shares no more unlike
        than by chance: no heterogeneity, every family has the programme's share, and probabilities
        come from all outcomes together (beta with half an outcome added to either side, Jeffreys).

    Raises
    ------
    ValueError
        Counts that are not whole, negative or above their denominator.

    Notes
    -----
    Source: beta-binomial likelihood. Heterogeneity is looked for where the score at equal shares
    is positive: Tarone, Biometrika 1979;66:585 (from memory).

    Examples
    --------
    >>> fitted = fit_beta_binomial([0, 8, 1, 7], [8, 8, 8, 8])
    >>> fitted.posterior_mean([8, 0], [8, 8]).round(2).tolist()
    [0.97, 0.03]
    """
    yes, out_of = share_counts(np.atleast_1d(numerator), np.atleast_1d(denominator))
    order = np.lexsort((yes, out_of))
    yes, out_of = yes[order], out_of[order]
    yes, out_of = yes[out_of > 0], out_of[out_of > 0]
    hits, tries = int(yes.sum()), int(out_of.sum())
    alike = BetaBinomial(math.inf, math.inf, hits, tries)
    if len(yes) < 2 or hits in (0, tries) or out_of.max() < 2:
        return alike
    share = hits / tries
    spread = np.sum((yes - out_of * share) ** 2) / (share * (1 - share))
    if spread <= tries:
        return alike
    no = out_of - yes

    def loss(at: FloatArray) -> tuple[float, FloatArray]:
        """Negative log-likelihood and gradient at log of both parameters."""
        a, b = np.exp(at)
        value = special.betaln(a + yes, b + no) - special.betaln(a, b)
        common = special.psi(a + b + out_of) - special.psi(a + b)
        by_a = np.sum(special.psi(a + yes) - special.psi(a) - common)
        by_b = np.sum(special.psi(b + no) - special.psi(b) - common)
        return -float(value.sum()), -np.array([a * by_a, b * by_b])

    likeness = (spread - tries) / np.sum(out_of * (out_of - 1.0))
    weight = max(1 / min(likeness, 0.999) - 1, 1e-3)
    a, b = np.exp(_least(loss, np.log([share * weight, (1 - share) * weight])))
    return BetaBinomial(float(a), float(b), hits, tries)


def _least(loss: Callable[[FloatArray], tuple[float, FloatArray]], start: FloatArray) -> FloatArray:
    """Parameters of the least loss, to the last digits that matter."""
    from scipy import optimize  # takes long to load and is seldom needed

    found = optimize.minimize(
        loss,
        np.clip(start, *_LOG_BOUNDS),
        jac=True,
        method="L-BFGS-B",
        bounds=[_LOG_BOUNDS, _LOG_BOUNDS],
        options={"ftol": 1e-15, "gtol": 1e-10, "maxiter": 500},
    )
    return np.asarray(found.x)
