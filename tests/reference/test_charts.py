"""Limits of control charts and funnels against values from outside."""

import numpy as np
import pytest
from scipy import integrate, stats

from analysis.stats.change_point import change_point
from analysis.stats.charts import count_quantile, u_chart
from analysis.stats.funnel import funnel, group_dispersion
from analysis.stats.gaps import g_chart, open_gap
from tests.printed import printed


def test_three_sigma_limits_mislead_where_half_an_event_is_expected():
    # Analytic: nominal chance above the limit .00135, true .0144.
    above = stats.poisson.sf(np.floor(0.5 + 3 * np.sqrt(0.5)), 0.5)
    assert above == printed("0.0144")
    exact = u_chart([1, 0] * 10, [1000] * 20)
    assert stats.poisson.sf(exact.upper_limit[0], 0.5) <= 0.00135


def test_three_sigma_limits_of_a_g_chart_mislead():
    # Analytic: at a mean of 25.5 the .99865 quantile is 171; three sigma would be 103.5.
    assert g_chart([25, 26]).upper_limit.tolist() == [171.0, 171.0]
    assert 25.5 + 3 * np.sqrt(25.5 * 26.5) == printed("103.5")


@pytest.mark.parametrize("mean", [0.1, 0.5, 1.0, 5.0, 25.0, 400.0])
def test_exact_limits_leave_no_more_than_they_claim(mean: float):
    # Analytic: half of .0027 on either side, and one count closer would leave more.
    lower, upper = count_quantile(0.00135, mean), count_quantile(0.99865, mean)
    steady = stats.poisson(mean)
    assert steady.sf(upper) <= 0.00135
    assert steady.sf(upper - 1) > 0.00135
    assert steady.cdf(lower - 1) <= 0.00135
    assert steady.cdf(lower) > 0.00135


def test_a_dispersed_quantile_is_that_of_the_negative_binomial_with_that_variance():
    # Analytic: mean 4, variance 10.
    size, chance = 4**2 / (10 - 4), 4 / 10
    assert stats.nbinom.mean(size, chance) == pytest.approx(4)
    assert stats.nbinom.var(size, chance) == pytest.approx(10)
    assert count_quantile(0.99, 4.0, dispersion=2.5) == stats.nbinom.ppf(0.99, size, chance)


def test_funnel_limits_leave_one_in_forty_and_one_in_a_thousand():
    # Analytic: exact Poisson quantiles.
    found = funnel([3, 17, 80], [1000, 5000, 14_000])
    for days, upper, share in [
        (1000, found.upper_95[0], 0.025),
        (1000, found.upper_998[0], 0.001),
        (14_000, found.upper_998[2], 0.001),
    ]:
        steady = stats.poisson(days * 100 / 20_000)
        assert (
            steady.sf(round(upper * days / 1000))
            <= share
            < steady.sf(round(upper * days / 1000) - 1)
        )


def test_group_dispersion_is_that_of_a_random_effects_meta_analysis_when_nothing_is_drawn_in():
    # Analytic: with 3 groups and outer tenths, the winsorised scores are the interpolated ones;
    # DerSimonian and Laird's estimate from them.
    events, days = np.array([10, 20, 60]), np.array([3000, 3000, 3000])
    centre = 90 / 9000
    z = (events - 30) / np.sqrt(30)
    z = np.clip(z, *np.quantile(z, [0.1, 0.9]))
    found = group_dispersion(events, days)
    assert found.phi == pytest.approx((z**2).mean())
    weight = 3000 / centre
    tau_squared = ((z**2).sum() - 2) / (3 * weight - weight)
    assert found.tau == pytest.approx(1000 * np.sqrt(tau_squared))


def test_a_wait_after_estimated_gaps_follows_f():
    # Analytic: a new exponential gap over the mean of n earlier ones is F with 2 and 2n degrees.
    found = open_gap(700, [100, 250, 40, 90])
    assert found.p_as_long == pytest.approx(stats.f.sf(700 / 120, 2, 8))


def test_the_change_point_distribution_is_that_of_integrating_both_rates_out():
    # Analytic: brute-force integration of the likelihood over both rates under Jeffreys' prior.
    events, days = [2, 0, 1, 5, 4], [90, 100, 80, 110, 100]
    found = change_point(events, days)

    def marginal(part: slice) -> float:
        x, d = sum(events[part]), sum(days[part])

        def integrand(rate: float) -> float:
            return rate ** (x - 0.5) * np.exp(-rate * d) * 1e6 ** (x / 3)

        return integrate.quad(integrand, 0, 1, points=[x / d, (x + 1) / d], limit=500)[0]

    weights = [marginal(slice(0, k)) * marginal(slice(k, 5)) for k in range(1, 5)]
    assert found.probability[0] == 0.0
    assert found.probability[1:] == pytest.approx(np.array(weights) / sum(weights), rel=1e-6)
    assert found.first_period == 3
    assert found.rate_before_per_1000 == pytest.approx(1000 * 3 / 270)
    assert found.rate_after_per_1000 == pytest.approx(1000 * 9 / 210)
