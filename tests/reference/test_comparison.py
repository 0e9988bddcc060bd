"""Two rates, and observed against expected events, against values from outside."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analysis.stats.comparison import exact_rate_ratio, midp_rate_ratio
from analysis.stats.intervals import exact_count_interval, midp_count_interval
from analysis.stats.regression import clustered_rate_ratio, poisson_trend
from analysis.stats.seasonal_trend import seasonal_trend
from analysis.stats.standardised import expected_from_others, standardised_ratio
from tests.printed import printed


def test_seventeen_against_three_events_give_the_printed_midp_limits():
    # OpenEpi documentation, "Comparing two person-time rates": 17 in 100 025, 3 in 122 268.
    found = midp_rate_ratio(17, 100_025, 3, 122_268)
    assert float(found.ratio) == printed("6.927")
    assert float(found.lower) == printed("2.21")
    assert float(found.upper) == printed("29.63")
    assert float(found.p) == printed("0.0003127")


def test_seventeen_against_three_events_give_the_printed_exact_limits():
    # OpenEpi documentation, the same example.
    found = exact_rate_ratio(17, 100_025, 3, 122_268)
    assert float(found.lower) == printed("2.004")
    assert float(found.upper) == printed("36.89")


def test_two_against_ten_events_give_the_printed_central_interval_and_p():
    # Fay, vignette of the R package exactci, central method: 2 in 17 877, 10 in 20 000.
    found = exact_rate_ratio(2, 17_877, 10, 20_000)
    assert float(found.ratio) == printed("0.2237512")
    assert float(found.lower) == printed("0.02383738")
    assert float(found.upper) == printed("1.04995468")
    assert float(found.p) == printed("0.06056")


def test_small_standardised_ratios_have_midp_limits():
    # NHSN's statistics rules (CDC SAS macro SIRcomp, 2014): mid-P when both are at most 100.
    found = standardised_ratio([5, 100], [2.5, 100.0])
    limits = midp_count_interval([5, 100])
    assert found.is_byar.tolist() == [False, False]
    assert found.lower == pytest.approx(limits.lower / [2.5, 100.0])
    assert found.upper == pytest.approx(limits.upper / [2.5, 100.0])


def test_large_standardised_ratios_have_byar_limits():
    # The same rules: Byar's approximation when observed or expected exceed 100.
    found = standardised_ratio([101, 5], [50.0, 101.0])
    assert found.is_byar.tolist() == [True, True]
    assert found.lower[0] == pytest.approx(101 / 50 * (1 - 1 / 909 - 1.959964 / 3 / 101**0.5) ** 3)
    assert found.upper[0] == pytest.approx(102 / 50 * (1 - 1 / 918 + 1.959964 / 3 / 102**0.5) ** 3)


def test_less_than_one_expected_event_gives_no_standardised_ratio():
    # The same rules.
    found = standardised_ratio([3, 3], [0.999, 1.0])
    assert np.isnan([found.ratio[0], found.lower[0], found.upper[0], found.p[0]]).all()
    assert found.ratio[1] == 3.0


def test_no_observed_event_gives_no_lower_limit():
    # The same rules.
    found = standardised_ratio(0, 2.0)
    assert np.isnan(found.lower)
    assert float(found.ratio) == 0.0
    assert float(found.upper) == pytest.approx(-np.log(0.05) / 2)


def test_two_standardised_ratios_are_compared_by_conditional_binomial_midp():
    # The same rules (macro BINOM): expected events stand where line-days stood.
    by_days = midp_rate_ratio(17, 100_025, 3, 122_268)
    by_expected = midp_rate_ratio(17, 1.00025, 3, 1.22268)
    assert float(by_expected.ratio) == pytest.approx(float(by_days.ratio))
    assert float(by_expected.p) == pytest.approx(float(by_days.p))


def test_the_clustered_error_of_two_groups_is_that_of_a_ratio_estimator():
    # Analytic: the log ratio's variance is the sum over families of their squared residuals, each
    # over its group's events; corrected for k families with events by k / (k - 2).
    rng = np.random.default_rng(3)
    family = np.repeat(np.arange(40), 2)
    is_first = np.tile([True, False], 40)
    days = rng.integers(20, 200, 80)
    events = rng.poisson(rng.gamma(0.3, 0.05, 80) * days)
    found = clustered_rate_ratio(events, days, is_first, family)

    sums = [(events[g].sum(), days[g].sum()) for g in (is_first, ~is_first)]
    (x1, d1), (x2, d2) = sums
    assert found.ratio == pytest.approx(x1 / d1 / (x2 / d2))
    residual = np.where(is_first, (events - days * x1 / d1) / x1, -(events - days * x2 / d2) / x2)
    k = found.families_with_events
    error = np.sqrt((np.bincount(family, residual) ** 2).sum() * k / (k - 2))
    assert error > np.sqrt(1 / x1 + 1 / x2)
    reach = stats.t.ppf(0.975, k - 2) * error
    assert np.log([found.lower, found.upper]) == pytest.approx(
        [np.log(found.ratio) - reach, np.log(found.ratio) + reach], rel=1e-6
    )


def test_a_trend_has_the_estimate_and_the_error_of_another_library():
    # statsmodels 0.14, GLM(Poisson).fit(cov_type="cluster", cov_kwds={"groups": family}), whose
    # correction for few clusters is left out in favour of ours.
    rng = np.random.default_rng(4)
    month = np.tile(np.arange(12), 60)
    family = np.repeat(np.arange(60), 12)
    days = rng.integers(10, 32, month.size)
    bad_spells = np.repeat(rng.gamma(0.5, 0.03, 120), 6)
    events = rng.poisson(bad_spells * 1.05**month * days)
    found = poisson_trend(events, days, month, family)
    theirs = sm.GLM(
        events,
        np.column_stack((np.ones(month.size), month)),
        family=sm.families.Poisson(),
        offset=np.log(days),
    ).fit(tol=1e-12, cov_type="cluster", cov_kwds={"groups": family, "use_correction": False})
    k = found.families_with_events
    error = theirs.bse[1] * np.sqrt(k / (k - 2))
    assert error > np.sqrt(theirs.normalized_cov_params[1, 1])
    assert found.ratio == pytest.approx(np.exp(theirs.params[1]), rel=1e-9)
    reach = stats.t.ppf(0.975, k - 2) * error
    assert found.lower == pytest.approx(np.exp(theirs.params[1] - reach), rel=1e-8)
    assert found.upper == pytest.approx(np.exp(theirs.params[1] + reach), rel=1e-8)


def test_a_ratio_to_a_counted_reference_has_the_limits_of_two_rates():
    # One stratum: expected 3/122268 x 100025, so that the ratio is that of the two rates.
    # OpenEpi documentation (two rates): 17/100025 v 3/122268, exact 2.004-36.89.
    expected, reference = expected_from_others([[17], [3]], [[100_025], [122_268]])
    assert reference.tolist() == pytest.approx([3.0, 17.0])
    found = standardised_ratio([17, 3], expected, reference=reference)
    assert found.ratio[0] == printed("6.927")
    assert found.lower[0] == printed("2.004")
    assert found.upper[0] == printed("36.89")
    exact = exact_rate_ratio(17, 100_025, 3, 122_268)
    assert float(found.p[0]) == pytest.approx(float(exact.p), rel=1e-9)
    # With a reference that is as good as known the limits come near those of a known one.
    near = standardised_ratio([5], [2.5], reference=[1e7])
    known = exact_count_interval([5])
    assert near.lower == pytest.approx(known.lower / 2.5, rel=1e-4)
    assert near.upper == pytest.approx(known.upper / 2.5, rel=1e-4)


def test_a_trend_beside_a_season_is_that_of_another_library():
    rng = np.random.default_rng(4)
    month, family = np.repeat(np.arange(30), 20), np.tile(np.arange(20), 30)
    days = rng.integers(5, 31, 600)
    wave = 1 + 0.5 * np.sin(2 * np.pi * month / 12)
    events = rng.poisson(0.02 * days * wave * 1.02**month)
    ours = seasonal_trend(events, days, month, family, year=12)
    angle = 2 * np.pi * month / 12
    model = np.column_stack([np.ones(600), month, np.sin(angle), np.cos(angle)])
    fit = sm.GLM(events, model, family=sm.families.Poisson(), exposure=days).fit(
        cov_type="cluster", cov_kwds={"groups": family, "use_correction": False}
    )
    assert np.log(ours.ratio) == pytest.approx(fit.params[1], rel=1e-7)
    k = ours.families_with_events
    error = max(fit.bse[1] * np.sqrt(k / (k - 4)), np.sqrt(fit.normalized_cov_params[1, 1]))
    reach = stats.t.ppf(0.975, k - 4) * error
    assert np.log(ours.upper) == pytest.approx(fit.params[1] + reach, rel=1e-6)
