"""Comparisons, dispersion and regression: against plain sums, and what must hold."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.stats.charts import Rule, u_chart
from analysis.stats.comparison import (
    exact_rate_ratio,
    exact_ratio_p,
    midp_rate_ratio,
    midp_ratio_p,
)
from analysis.stats.dispersion import (
    FEWEST_FAMILIES as FEWEST,
)
from analysis.stats.dispersion import (
    chart_dispersion,
    clustered_rate_interval,
    overdispersion,
)
from analysis.stats.intervals import exact_rate_interval
from analysis.stats.regression import FEWEST_FAMILIES, clustered_rate_ratio, poisson_trend
from analysis.stats.standardised import standardised_ratio
from tests.cases import cases
from tests.oracles import rates as oracle

CASES = cases(100)
FEW = cases(30)
COUNT = st.integers(0, 40)
DAYS = st.integers(1, 20_000)
PAIR = st.tuples(COUNT, DAYS, COUNT, DAYS)
FAMILIES = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 300)), min_size=1, max_size=20)


@CASES
@given(PAIR, st.sampled_from([Fraction(1), Fraction(1, 3), Fraction(5, 2)]))
def test_p_is_twice_the_smaller_summed_tail(pair, ratio: Fraction):
    for function, half in [(exact_ratio_p, Fraction(0)), (midp_ratio_p, Fraction(1, 2))]:
        found = float(function(*pair, ratio=float(ratio)))
        assert found == pytest.approx(oracle.ratio_p(*pair, ratio, half), rel=1e-9, abs=1e-300)


@CASES
@given(PAIR, st.sampled_from([0.8, 0.95, 0.99]))
def test_at_a_limit_of_the_ratio_the_test_gives_exactly_alpha(pair, confidence: float):
    for interval, p_of in [(exact_rate_ratio, exact_ratio_p), (midp_rate_ratio, midp_ratio_p)]:
        found = interval(*pair, confidence=confidence)
        assert 0 <= found.lower <= found.upper
        for limit in (float(found.lower), float(found.upper)):
            if 0 < limit < np.inf:
                assert p_of(*pair, ratio=limit) == pytest.approx(1 - confidence, rel=1e-7)


@CASES
@given(PAIR)
def test_one_is_left_out_exactly_when_p_is_below_alpha(pair):
    for interval in (exact_rate_ratio, midp_rate_ratio):
        found = interval(*pair)
        assume(abs(float(found.p) - 0.05) > 1e-9)
        assert (not found.lower <= 1 <= found.upper) == (found.p < 0.05)


@CASES
@given(PAIR)
def test_turning_the_groups_round_turns_the_ratio_round(pair):
    first, first_days, second, second_days = pair
    one = midp_rate_ratio(*pair)
    other = midp_rate_ratio(second, second_days, first, first_days)
    with np.errstate(divide="ignore"):
        assert np.divide(1.0, one.upper) == pytest.approx(float(other.lower), rel=1e-9)
    assert float(one.p) == pytest.approx(float(other.p), rel=1e-9)


@CASES
@given(PAIR)
def test_limits_widen_with_confidence_and_hold_the_ratio(pair):
    narrow, wide = (exact_rate_ratio(*pair, confidence=c) for c in (0.9, 0.99))
    assert wide.lower <= narrow.lower
    assert wide.upper >= narrow.upper
    if not np.isnan(narrow.ratio):
        assert narrow.lower <= narrow.ratio <= narrow.upper


def test_no_event_in_either_group_tells_nothing():
    for interval in (exact_rate_ratio, midp_rate_ratio):
        found = interval(0, 100, 0, 200)
        assert np.isnan(found.ratio)
        assert (float(found.lower), float(found.upper), float(found.p)) == (0.0, np.inf, 1.0)


def test_no_event_in_one_group_gives_a_limit_on_one_side():
    found = midp_rate_ratio([0, 5], [100, 100], [5, 0], [100, 100])
    assert found.ratio.tolist() == [0.0, np.inf]
    assert found.lower[0] == 0.0
    assert found.upper[1] == np.inf
    assert found.upper[0] == pytest.approx(1 / found.lower[1])


def test_no_line_days_in_one_group_give_no_comparison():
    found = exact_rate_ratio(1, 0, 5, 100)
    assert np.isnan([found.ratio, found.lower, found.upper, found.p]).all()


@CASES
@given(st.integers(1, 400), st.floats(1, 300))
def test_a_standardised_ratio_leaves_one_out_exactly_when_p_is_below_alpha(observed, expected):
    found = standardised_ratio(observed, expected)
    assume(abs(float(found.p) - 0.05) > 1e-9)
    assert (not found.lower <= 1 <= found.upper) == (found.p < 0.05)


@CASES
@given(FAMILIES, st.randoms())
def test_clustered_limits_hold_the_exact_ones_and_depend_on_no_order(families, random):
    events, days = np.array(families).T
    assume(days.sum() > 0)
    found = clustered_rate_interval(events, days)
    exact = exact_rate_interval(events.sum(), days.sum())
    if events.sum() > 0 and found.families < FEWEST:
        assert np.isnan([found.lower, found.upper, found.design_effect]).all()
        return
    assert found.lower <= float(exact.lower) * (1 + 1e-12)
    assert found.upper >= float(exact.upper) * (1 - 1e-12)
    shuffled = families.copy()
    random.shuffle(shuffled)
    assert clustered_rate_interval(*np.array(shuffled).T) == found


def test_families_exactly_alike_have_the_exact_limits():
    found = clustered_rate_interval([2] * 16, [100] * 16)
    exact = exact_rate_interval(32, 1600)
    assert found.design_effect == 0.0
    assert (found.lower, found.upper) == pytest.approx(
        (float(exact.lower), float(exact.upper)), rel=1e-12
    )


def test_no_event_gives_the_exact_upper_limit_however_few_the_families():
    found = clustered_rate_interval([0], [100])
    assert (found.rate_per_1000, found.lower) == (0.0, 0.0)
    assert found.upper == pytest.approx(float(exact_rate_interval(0, 100).upper), rel=1e-12)


def test_one_family_with_events_has_a_rate_without_clustered_limits():
    found = clustered_rate_interval([4], [100])
    assert found.rate_per_1000 == 40.0
    assert np.isnan([found.lower, found.upper, found.design_effect]).all()


def test_families_without_line_days_have_no_clustered_rate():
    found = clustered_rate_interval([0, 0], [0, 0])
    assert np.isnan([found.rate_per_1000, found.lower, found.upper]).all()


@FEW
@given(FAMILIES, st.randoms())
def test_the_overdispersion_test_depends_on_no_order(families, random):
    shuffled = families.copy()
    random.shuffle(shuffled)
    one, other = (overdispersion(*np.array(rows).T, replicates=99) for rows in (families, shuffled))
    assert one == other or (np.isnan(one.p) and np.isnan(other.p))


def test_overdispersion_needs_two_units_and_an_event():
    for events, days in [([5], [100]), ([0, 0], [10, 10]), ([3, 0], [100, 0])]:
        assert np.isnan(overdispersion(events, days).p)


def test_units_of_one_rate_are_rarely_called_overdispersed():
    rng = np.random.default_rng(6)
    days = rng.integers(10, 200, 60)
    p = [overdispersion(rng.poisson(0.01 * days), days, replicates=199).p for _ in range(200)]
    # 200 draws of a test of 5 %: 99.9 % of the time no more than 20.
    assert np.sum(np.array(p) <= 0.05) <= 20


def test_the_dispersion_of_a_chart_is_one_where_every_family_has_one_event_at_most():
    found = chart_dispersion([1, 1, 0, 1, 1, 0], [30] * 6, [0, 1, 2, 3, 4, 5], [0, 0, 0, 1, 1, 1])
    assert found.dispersion == 1.0
    assert found.of_periods == pytest.approx(0.0)
    # Two families had both events of a month each: 2 counts of 2 about a mean of 4/6.
    apart = chart_dispersion([2, 0, 0, 2, 0, 0], [30] * 6, [0, 1, 2, 3, 4, 5], [0, 0, 0, 1, 1, 1])
    assert apart.of_families == pytest.approx((2 * (4 / 3) ** 2 + 4 * (2 / 3) ** 2) / 4)
    assert apart.dispersion == apart.of_families


def test_one_bad_month_does_not_widen_the_limits_that_should_find_it():
    # Six families of one rate, twelve months of 4 events and one of 24.
    events = np.tile([1, 1, 1, 1, 0, 0], (13, 1))
    events[10] = 4
    found = chart_dispersion(
        events.ravel(), [60] * 78, np.tile(np.arange(6), 13), np.repeat(np.arange(13), 6)
    )
    chart = u_chart(events.sum(axis=1), [360] * 13, dispersion=found.over(np.ones(13, dtype=bool)))
    assert np.flatnonzero(chart.signals[Rule.ABOVE_LIMIT]).tolist() == [10]
    assert found.dispersion > 4
    assert found.by_others[10] < 1.5
    assert np.delete(found.by_others, 10).min() > 4


def test_the_dispersion_of_a_chart_without_events_or_days_is_that_of_chance():
    assert chart_dispersion([0, 0], [30, 30], [0, 1], [0, 0]).dispersion == 1.0
    assert chart_dispersion([], [], [], []).dispersion == 1.0
    assert np.isnan(chart_dispersion([1], [30], [0], [0]).of_periods)


def rows_of(families: int, seed: int) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    family = np.repeat(np.arange(families), 6)
    month = np.tile(np.arange(6), families)
    days = rng.integers(0, 31, family.size)
    return rng.poisson(0.03 * days), days, month, family


@FEW
@given(st.integers(0, 1000), st.randoms())
def test_a_trend_depends_on_no_order_and_no_code(seed: int, random):
    events, days, month, family = rows_of(20, seed)
    found = poisson_trend(events, days, month, family)
    order = list(range(len(events)))
    random.shuffle(order)
    again = poisson_trend(events[order], days[order], month[order] + 7, family[order] + 100)
    assert again.ratio == pytest.approx(found.ratio, rel=1e-9)
    assert again.upper == pytest.approx(found.upper, rel=1e-9, nan_ok=True)


def test_a_trend_needs_events_two_periods_and_enough_families():
    no_event = poisson_trend([0] * 4, [9] * 4, [0, 1, 0, 1], [0, 0, 1, 1])
    assert np.isnan(no_event.ratio)
    one_period = poisson_trend([3, 2], [9, 9], [4, 4], [0, 1])
    assert np.isnan(one_period.ratio)
    only_last = poisson_trend([0, 2], [9, 9], [0, 1], [0, 0])
    assert only_last.ratio == np.inf
    only_first = poisson_trend([2, 0], [9, 9], [0, 1], [0, 0])
    assert only_first.ratio == 0.0
    one_family = poisson_trend([2, 4], [9, 9], [0, 1], [0, 0])
    assert one_family.ratio == pytest.approx(2.0)
    for found in (no_event, one_period, only_last, only_first, one_family):
        assert np.isnan([found.lower, found.upper, found.p]).all()


def test_events_without_line_days_are_counted_as_left_out():
    found = clustered_rate_ratio([2, 1, 4], [0, 9, 9], [True, True, False], [0, 0, 1])
    assert (found.events, found.events_left_out) == (5, 2)
    assert found.ratio == pytest.approx(0.25)
    assert FEWEST_FAMILIES > 2
    assert np.isnan(found.p)


def test_columns_of_unequal_length_are_refused():
    with pytest.raises(ValueError, match="all columns must have one length, but have"):
        poisson_trend([1, 2], [9, 9], [0, 1], [0])


def test_doubling_each_family_does_not_make_a_ratio_surer():
    # Every family's rows twice, as if each had been two: the plain test would gain, this can't.
    rng = np.random.default_rng(8)
    family = np.repeat(np.arange(30), 2)
    is_first = np.tile([True, False], 30)
    days = np.full(60, 100)
    events = rng.poisson(3, 60)
    once = clustered_rate_ratio(events, days, is_first, family)
    twice = clustered_rate_ratio(2 * events, 2 * days, is_first, family)
    assert twice.ratio == pytest.approx(once.ratio)
    assert twice.upper > once.upper * 0.9
