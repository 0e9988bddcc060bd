"""Shrinkage: what must hold, and what it does when there is next to nothing."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats

from analysis.stats.averaged_rates import average_rates
from analysis.stats.shrinkage import fit_beta_binomial
from tests.cases import cases

CASES = cases(40)
FAMILIES = st.lists(st.tuples(st.integers(0, 12), st.integers(0, 400)), min_size=1, max_size=25)
SHARES = st.lists(
    st.integers(0, 12).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=1,
    max_size=25,
)


@CASES
@given(FAMILIES, st.floats(1e-4, 0.2))
def test_probabilities_fall_with_the_limit(families, limit: float):
    events, days = np.array(families).T
    assume(days.sum() > 0)
    fitted = average_rates(events, days)
    low, high = (fitted.probability_above(v, events, days) for v in (limit, 2 * limit))
    assert (high <= low + 1e-12).all()
    assert ((low >= 0) & (low <= 1 + 1e-12)).all()


@CASES
@given(FAMILIES, st.randoms())
def test_averaged_rates_depend_on_no_order_and_not_on_families_without_days(families, random):
    shuffled = [*families, (0, 0)]
    random.shuffle(shuffled)
    one = average_rates(*np.array(families).T)
    other = average_rates(*np.array(shuffled).T)
    assert one.weights.tolist() == other.weights.tolist()
    assert one.rates.tolist() == other.rates.tolist()


def test_averaged_rates_are_those_of_summing_every_distribution_by_hand():
    events, days = np.array([3, 0, 1, 7]), np.array([50, 80, 20, 60])
    found = average_rates(events, days)
    assert found.weights.sum() == pytest.approx(1.0)
    above = mean = 0.0
    for shape, rate, weight in zip(found.shapes, found.rates, found.weights, strict=True):
        posterior = stats.gamma(shape + 7, scale=1 / (rate + 60))
        above += weight * posterior.sf(0.05)
        mean += weight * posterior.mean()
    assert float(found.probability_above(0.05, 7, 60)) == pytest.approx(above)
    assert float(found.posterior_mean(7, 60)) == pytest.approx(mean)
    # Weights are the negative binomial likelihood times the prior.
    log_mean = np.log(found.shapes / found.rates)
    likelihood = stats.nbinom.logpmf(
        events, found.shapes[:, None], found.rates[:, None] / (found.rates[:, None] + days)
    ).sum(axis=1)
    spread = found.shapes**-0.5
    reach = np.minimum(4 * np.sqrt(1 / 11.5 + spread**2 / 4), 3)
    log_weight = likelihood + log_mean / 2 + np.log(spread / (1 + spread**2)) + np.log(reach)
    assert np.log(found.weights) - log_weight == pytest.approx(
        np.full(len(spread), np.log(found.weights[0]) - log_weight[0]), abs=1e-8
    )


def test_averaged_rates_of_many_families_are_those_of_the_true_distribution():
    rng = np.random.default_rng(1)
    days = rng.integers(100, 400, 2000)
    events = rng.poisson(rng.gamma(1, 0.01, 2000) * days)
    averaged = average_rates(events, days)
    assert float(averaged.posterior_mean(0, 0)) == pytest.approx(0.01, rel=0.05)
    true = (1 + events) / (1 / 0.01 + days)
    assert np.abs(averaged.posterior_mean(events, days) / true - 1).max() < 0.1


def test_a_single_family_or_no_event_leaves_averaged_rates_in_doubt():
    one = average_rates([4], [100])
    assert 0.0 < one.posterior_mean([4], [100])[0] < 0.1
    assert 0.05 < one.probability_above(0.04, [4], [100])[0] < 0.95
    none = average_rates([0, 0], [100, 100])
    assert none.posterior_mean([0], [100])[0] < 0.01
    assert 0.0 < none.probability_above(0.01, [0], [100])[0] < 0.5
    empty = average_rates([0], [0])
    assert np.isnan(empty.posterior_mean([0], [0])).all()


def test_one_family_cannot_tell_how_families_differ():
    assert not fit_beta_binomial([3], [9]).is_heterogeneous


def test_no_outcomes_at_all_give_no_share():
    empty = fit_beta_binomial([0], [0])
    assert np.isnan(empty.mean)
    assert np.isnan(empty.probability_above(0.5, [0], [0])).all()


@CASES
@given(SHARES)
def test_a_shrunk_share_lies_between_the_family_and_the_programme(families):
    yes, out_of = np.array(families).T
    assume(out_of.sum() > 0)
    fitted = fit_beta_binomial(yes, out_of)
    shrunk = fitted.posterior_mean(yes, out_of)
    own = np.divide(yes, out_of, out=np.full(len(yes), fitted.mean), where=out_of > 0)
    assert (shrunk >= np.minimum(own, fitted.mean) - 1e-9).all()
    assert (shrunk <= np.maximum(own, fitted.mean) + 1e-9).all()


@CASES
@given(SHARES, st.randoms())
def test_no_other_beta_distribution_near_is_likelier(families, random):
    fitted = fit_beta_binomial(*np.array(families).T)
    shuffled = families.copy()
    random.shuffle(shuffled)
    assert fit_beta_binomial(*np.array(shuffled).T) == fitted
    # Beyond a hundred thousand the likelihood is flat to its last digits.
    assume(1e-3 < fitted.yes < 1e5)
    yes, out_of = np.array(families).T

    def likelihood(a: float, b: float) -> float:
        return float(stats.betabinom.logpmf(yes, out_of, a, b).sum())

    best = likelihood(fitted.yes, fitted.no)
    for a in (0.9, 1.0, 1.1):
        for b in (0.9, 1.0, 1.1):
            assert likelihood(fitted.yes * a, fitted.no * b) <= best + 1e-6


def test_shares_all_at_one_end_are_pooled_with_a_doubt():
    fitted = fit_beta_binomial([0, 0], [5, 7])
    assert fitted.mean == 0.0
    assert fitted.probability_above(0.1, [0], [5])[0] == pytest.approx(
        stats.beta(0.5, 12.5).sf(0.1)
    )
