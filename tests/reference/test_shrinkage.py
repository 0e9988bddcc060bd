"""Shrunk shares against values from outside."""

import numpy as np
import pytest
from scipy import optimize, stats

from analysis.stats.shrinkage import fit_beta_binomial


def test_the_beta_distribution_maximises_the_likelihood_another_library_computes():
    # scipy.stats.betabinom, maximised by a method without gradients from another start.
    rng = np.random.default_rng(2)
    scored = rng.integers(1, 40, 120)
    late = rng.binomial(scored, rng.beta(2, 6, 120))
    fitted = fit_beta_binomial(late, scored)

    def loss(at: np.ndarray) -> float:
        return -float(stats.betabinom.logpmf(late, scored, *np.exp(at)).sum())

    found = optimize.minimize(
        loss, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
    )
    assert [fitted.yes, fitted.no] == pytest.approx(np.exp(found.x), rel=1e-5)
    posterior = stats.beta(fitted.yes + 3, fitted.no + 5)
    assert float(fitted.posterior_mean(3, 8)) == pytest.approx(posterior.mean())
    assert float(fitted.probability_above(0.25, 3, 8)) == pytest.approx(posterior.sf(0.25))
