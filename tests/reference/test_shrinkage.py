"""Shrunk rates and shares against values from outside."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats

from analysis.stats.shrinkage import fit_beta_binomial, fit_gamma_poisson

DATA = Path(__file__).parent / "data" / "scottish_lip.csv"


@pytest.fixture(scope="module")
def counties() -> tuple[np.ndarray, np.ndarray]:
    with DATA.open() as file:
        rows = list(csv.DictReader(file))
    observed = np.array([int(row["observed"]) for row in rows])
    return observed, np.array([float(row["expected"]) for row in rows])


def test_the_gamma_distribution_of_scottish_counties_is_that_of_r(
    counties: tuple[np.ndarray, np.ndarray],
):
    # Computed, not printed: R 4.2, MASS::glm.nb on observed with offset log(expected).
    fitted = fit_gamma_poisson(*counties)
    assert fitted.shape == pytest.approx(1.87948997, rel=1e-7)
    assert fitted.rate == pytest.approx(1.32166713, rel=1e-7)


def test_shrunk_rates_of_scottish_counties_are_those_of_r(
    counties: tuple[np.ndarray, np.ndarray],
):
    # Computed, not printed: from the same fit, gamma posterior of counties 1, 49 and 56.
    fitted = fit_gamma_poisson(*counties)
    mean = fitted.posterior_mean(*counties)
    assert mean[[0, 48, 55]] == pytest.approx([3.99736244, 0.331914426, 0.602078921], rel=1e-7)


def test_probabilities_of_scottish_counties_above_a_limit_are_those_of_r(
    counties: tuple[np.ndarray, np.ndarray],
):
    # Computed, not printed: from the same fit, counties 1 and 17 above 1.5.
    fitted = fit_gamma_poisson(*counties)
    above = fitted.probability_above(1.5, *counties)
    assert above[[0, 16]] == pytest.approx([0.996241506, 0.482900208], rel=1e-7)


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
