"""The charts that surveillance was compared with have the run lengths that others print."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tests.benchmarks.surveillance_rules import cusum, ewma


def run_length(paths: np.ndarray, limit: float) -> tuple[float, float]:
    """Mean number of steps up to the first at or above the limit, and its standard error."""
    above = paths >= limit
    assert above.any(axis=1).all()
    first = above.argmax(axis=1) + 1
    return float(first.mean()), float(first.std() / np.sqrt(len(first)))


@pytest.mark.parametrize(("shift", "printed"), [(0.0, 37.2), (0.9627, 5.49)])
def test_the_poisson_cusum_has_the_run_length_printed_for_it(shift, printed):
    # R package IAcsSPCR 1.2.1, help page "arl" (Lucas's CUSUM, Technometrics 1985;27:129), printed
    # output of its examples: h = 6, k = 2, mean 1.88, shifts of 0 and 0.9627 standard deviations.
    mean = 1.88 + shift * np.sqrt(1.88)
    rng = np.random.default_rng(1)
    paths = cusum(rng.poisson(mean, (6000, 600)), np.full((1, 600), 2.0))
    found, error = run_length(paths, 6)
    assert found == pytest.approx(printed, abs=3.5 * error + 0.05)


def test_the_poisson_cusum_has_the_run_length_of_lucas():
    # Lucas, Technometrics 1985;27:129, Table 2, first block, row h = 10.0, k = 0.25, column 1.0: 438,
    # as quoted in the help page "pois.cusum.arl" of the R package spc 0.7.
    rng = np.random.default_rng(3)
    paths = cusum(rng.poisson(0.25, (2000, 6000)), np.full((1, 6000), 0.25))
    found, error = run_length(paths, 10)
    assert found == pytest.approx(438, abs=3 * error)


def test_the_poisson_ewma_has_about_the_run_length_it_was_designed_for():
    # Borror, Champ and Rigdon, J Qual Technol 1998;30:352: mean 4, weight 0.2, limits at 2.8275 standard
    # deviations for a mean run length of 351, as quoted in the help page "pois.ewma.crit" of the R
    # package spc 0.7. Theirs is a chain of few states, so a tenth apart is as near as it gets: more
    # states give 320.5, which is what is simulated.
    mean, weight = 4.0, 0.2
    limit = 2.8275 * np.sqrt(weight * mean / (2 - weight))
    rng = np.random.default_rng(4)
    paths = ewma(rng.poisson(mean, (2000, 5000)), np.full((1, 5000), mean), weight)
    found, error = run_length(np.abs(paths), limit)
    assert found == pytest.approx(351, rel=0.12)
    assert found == pytest.approx(320.5, abs=3 * error)


def test_the_poisson_cusum_agrees_with_its_markov_chain():
    # Brook and Evans, Biometrika 1972;59:539 (from memory): exact for whole values.
    h, k, mean = 6, 2, 1.88
    move = np.zeros((h, h))
    for state in range(h):
        for to in range(h):
            step = to - state + k
            move[state, to] = (
                stats.poisson.cdf(step, mean) if to == 0 else stats.poisson.pmf(step, mean)
            )
    exact = np.linalg.solve(np.eye(h) - move, np.ones(h))[0]
    assert round(exact, 1) == 37.2


def test_the_poisson_ewma_agrees_with_its_markov_chain():
    # Borror, Champ and Rigdon, J Qual Technol 1998;30:352 (method from memory): states are narrow
    # bands below the limit.
    mean, weight, limit, bands = 4.0, 0.2, 5.2, 400
    width = limit / bands
    middle = (np.arange(bands) + 0.5) * width
    upper = ((np.arange(bands) + 1) * width - (1 - weight) * middle[:, None]) / weight
    cdf = stats.poisson.cdf(np.ceil(upper) - 1, mean)
    move = np.diff(cdf, axis=1, prepend=0.0)
    length = np.linalg.solve(np.eye(bands) - move, np.ones(bands))
    exact = float(np.interp(mean, middle, length))
    rng = np.random.default_rng(2)
    paths = ewma(rng.poisson(mean, (4000, 1500)), np.full((1, 1500), mean), weight)
    found, error = run_length(paths, limit - mean)
    assert found == pytest.approx(exact, rel=0.03, abs=3.5 * error)
