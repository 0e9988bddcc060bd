"""Limits of counts, rates and shares against values from outside."""

import numpy as np
import pytest
from scipy import stats

from analysis.stats.bootstrap import cluster_share_interval
from analysis.stats.intervals import (
    exact_count_interval,
    exact_rate_interval,
    exact_share_interval,
    midp_count_interval,
)
from tests.printed import printed


@pytest.mark.parametrize(
    ("events", "lower", "upper"),
    [
        (0, 0.0, 3.688879),
        (1, 0.025318, 5.571643),
        (2, 0.242209, 7.224688),
        (5, 1.623486, 11.668332),
        (10, 4.795389, 18.390356),
        (50, 37.110964, 65.918767),
    ],
)
def test_exact_limits_of_a_count_are_those_of_r(events: int, lower: float, upper: float):
    # Computed, not printed: R 4.2, poisson.test(events)$conf.int
    found = exact_count_interval(events)
    assert float(found.lower) == pytest.approx(lower, abs=5.1e-7)
    assert float(found.upper) == pytest.approx(upper, abs=5.1e-7)


def test_the_exact_lower_limit_of_four_events_is_the_printed_one():
    # R package survival, help page of cipoisson. The page's upper limit is a misprint.
    assert float(exact_count_interval(4).lower) == printed("1.089865")
    assert float(exact_count_interval(4).upper) == pytest.approx(10.241589, abs=5.1e-7)


@pytest.mark.parametrize(
    ("events", "lower", "upper"),
    [
        (1, 0.050020, 4.931861),
        (5, 1.831995, 11.082416),
        (20, 12.559738, 30.339601),
    ],
)
def test_midp_limits_of_a_count_leave_half_the_count_in_either_tail(
    events: int, lower: float, upper: float
):
    # Analytic; also solved with R 4.2 and uniroot.
    found = midp_count_interval(events)
    assert float(found.lower) == pytest.approx(lower, abs=5.1e-7)
    assert float(found.upper) == pytest.approx(upper, abs=5.1e-7)


def test_the_midp_upper_limit_of_no_event_is_minus_log_alpha():
    # Analytic: half of exp(-mean) is 0.025.
    found = midp_count_interval(0)
    assert float(found.lower) == 0.0
    assert float(found.upper) == pytest.approx(-np.log(0.05), rel=1e-14)


def test_a_rate_of_ambulatory_line_infections_has_its_printed_limits():
    # Rinke et al., Pediatr Blood Cancer 2013, abstract: 55 in 84 705 line-days, 0.65 (0.49-0.85).
    found = exact_rate_interval(55, 84_705)
    assert float(found.rate_per_1000) == printed("0.65")
    assert float(found.lower) == printed("0.49")
    assert float(found.upper) == printed("0.85")


def test_a_rate_of_complications_is_the_printed_one():
    # Jumani et al., JAMA Pediatr 2013;167:429, abstract: 534 in 46 021 catheter-days, 11.6.
    assert float(exact_rate_interval(534, 46_021).rate_per_1000) == printed("11.6")
    # The abstract prints 20.8 % of 2574 lines; its own counts give 20.75.
    assert float(exact_share_interval(534, 2574).share) == pytest.approx(0.2075, abs=5.1e-5)


def test_a_share_of_failed_devices_is_the_printed_one():
    # Bough et al., Pediatr Surg Int 2021;37:109, abstract: 261 of 684 devices failed, 38.2 %.
    assert 100 * float(exact_share_interval(261, 684).share) == printed("38.2")
    # The rate is not printed: computed from the 213 821 days of the same abstract.
    found = exact_rate_interval(261, 213_821)
    assert float(found.rate_per_1000) == pytest.approx(1.2206, abs=5.1e-5)


def test_fifteen_events_in_four_hundred_days_have_the_limits_of_r():
    # Printed in statsmodels' test of confint_poisson as output of R DescTools PoissonCI.
    found = exact_rate_interval(15, 400)
    assert float(found.lower) / 1000 == pytest.approx(0.0209884653319583, rel=1e-13)
    assert float(found.upper) / 1000 == pytest.approx(0.0618505471787146, rel=1e-13)


def test_exact_limits_of_a_share_are_those_of_another_library():
    for yes, out_of in [(0, 9), (1, 9), (261, 684), (9, 9)]:
        theirs = stats.binomtest(yes, out_of).proportion_ci(0.95, method="exact")
        ours = exact_share_interval(yes, out_of)
        assert float(ours.lower) == pytest.approx(theirs.low, rel=1e-9)
        assert float(ours.upper) == pytest.approx(theirs.high, rel=1e-9)


def test_resampled_limits_of_a_share_agree_with_another_library():
    # scipy.stats.bootstrap, bias-corrected and accelerated. Ours go further out by a known factor,
    # which is taken back here by asking for less confidence.
    rng = np.random.default_rng(7)
    scored = rng.integers(3, 30, size=40)
    on_time = rng.binomial(scored, rng.beta(8, 2, size=40))

    def share(yes: np.ndarray, out_of: np.ndarray, axis: int) -> np.ndarray:
        return yes.sum(axis=axis) / out_of.sum(axis=axis)

    theirs = stats.bootstrap(
        (on_time, scored),
        share,
        paired=True,
        vectorized=True,
        n_resamples=20_000,
        method="BCa",
        rng=np.random.default_rng(1),
    ).confidence_interval
    level = stats.t.cdf(stats.norm.ppf(0.975) * np.sqrt(39 / 40), 39)
    ours = cluster_share_interval(on_time, scored, confidence=2 * level - 1, replicates=20_000)
    assert ours.lower[0] == pytest.approx(theirs.low, abs=0.003)
    assert ours.upper[0] == pytest.approx(theirs.high, abs=0.003)
