"""Charts, gaps, change points and funnels: against plain loops, and what must hold."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.stats.change_point import change_point
from analysis.stats.charts import (
    RUN_LENGTH,
    Rule,
    in_a_row,
    two_of_three,
    u_chart,
)
from analysis.stats.day_gaps import GapRule, day_gap_chart
from analysis.stats.false_alarms import false_alarm_rate
from analysis.stats.funnel import (
    funnel,
    group_dispersion,
    overdispersed_funnel,
)
from analysis.stats.gaps import g_chart, open_gap
from tests.cases import cases
from tests.oracles import rates as oracle

CASES = cases(100)
FEW = cases(30)
PERIODS = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 900)), min_size=1, max_size=24)
TWO_PERIODS = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 900)), min_size=2, max_size=24)
POINTS = st.lists(st.sampled_from([True, False, None]), max_size=30)


def marks(points: list[bool | None]) -> tuple[np.ndarray, np.ndarray]:
    return np.array([bool(p) for p in points], bool), np.array(
        [p is not None for p in points], bool
    )


@CASES
@given(POINTS, st.integers(1, 9))
def test_runs_are_those_of_a_plain_loop(points, length: int):
    assert in_a_row(*marks(points), length=length).tolist() == oracle.runs(points, length)


@CASES
@given(POINTS)
def test_two_of_three_is_that_of_a_plain_loop(points):
    assert two_of_three(*marks(points)).tolist() == oracle.two_of_three(points)


@CASES
@given(PERIODS)
def test_signals_are_points_beyond_the_limits(periods):
    events, days = np.array(periods).T
    chart = u_chart(events, days)
    above = chart.rate_per_1000 > chart.upper_limit * (1 + 1e-12)
    below = chart.rate_per_1000 < chart.lower_limit * (1 - 1e-12)
    assert chart.signals[Rule.ABOVE_LIMIT].tolist() == above.tolist()
    assert chart.signals[Rule.BELOW_LIMIT].tolist() == below.tolist()


@CASES
@given(TWO_PERIODS, st.integers(0, 1000))
def test_a_frozen_baseline_does_not_feel_what_comes_after(periods, at: int):
    n = 1 + at % (len(periods) - 1)
    events, days = np.array(periods).T
    worse = events.copy()
    worse[n:] += 50
    one, other = u_chart(events, days, baseline=n), u_chart(worse, days, baseline=n)
    assert np.array_equal(one.centre, other.centre, equal_nan=True)
    assert np.array_equal(one.upper_limit, other.upper_limit, equal_nan=True)
    assert (one.baseline_events, one.baseline_days) == (sum(events[:n]), sum(days[:n]))


@CASES
@given(PERIODS)
def test_limits_widen_with_dispersion_and_with_a_smaller_alpha(periods):
    events, days = np.array(periods).T
    plain, apart, strict = (
        u_chart(events, days),
        u_chart(events, days, dispersion=2.0),
        u_chart(events, days, alpha=0.0001),
    )
    known = ~np.isnan(plain.upper_limit)
    for wide in (apart, strict):
        assert (wide.upper_limit[known] >= plain.upper_limit[known]).all()
        assert (wide.lower_limit[known] <= plain.lower_limit[known]).all()


def test_a_period_without_line_days_has_no_rate_and_breaks_no_run():
    # One event a period before; then three in each of nine, with an empty period among them.
    events = [1] * 8 + [3] * 4 + [0] + [3] * 5
    days = [1000] * 12 + [0] + [1000] * 5
    chart = u_chart(events, days, baseline=8)
    assert np.isnan([chart.rate_per_1000[12], chart.upper_limit[12]]).all()
    assert chart.signals[Rule.RUN_ABOVE].tolist() == [False] * 17 + [True]
    assert RUN_LENGTH == 9


def test_a_baseline_without_events_gives_no_limits():
    chart = u_chart([0, 0, 1], [500] * 3, baseline=2)
    assert chart.centre == 0.0
    assert np.isnan(chart.upper_limit).all()
    assert not any(s.any() for s in chart.signals.values())
    empty = u_chart([0, 0], [0, 0])
    assert np.isnan(empty.centre)
    assert np.isnan(empty.rate_per_1000).all()


@pytest.mark.parametrize("baseline", [0, 4, -1])
def test_a_baseline_out_of_range_is_refused(baseline: int):
    with pytest.raises(ValueError, match=f"baseline must be 1 to 3 periods, but is {baseline}"):
        u_chart([1, 2, 3], [9, 9, 9], baseline=baseline)
    with pytest.raises(ValueError, match=f"baseline must be 1 to 3 gaps, but is {baseline}"):
        g_chart([1, 2, 3], baseline=baseline)


def test_impossible_settings_of_a_chart_are_refused():
    with pytest.raises(ValueError, match=r"dispersion must be 1 or more, but is 0\.5"):
        u_chart([1], [9], dispersion=0.5)
    with pytest.raises(ValueError, match="alpha must be between 0 and 1, but is 1"):
        u_chart([1], [9], alpha=1)


@CASES
@given(
    st.integers(2, 4).flatmap(lambda n: st.lists(st.integers(0, 6), min_size=n, max_size=n)),
    st.sampled_from([0.31, 0.11, 0.021]),
)
def test_later_gaps_of_a_g_chart_are_judged_by_all_ways_to_split_the_sum(base, alpha: float):
    n, total = len(base), sum(base)
    assume(total > 0)
    chart = g_chart([*base, 0], baseline=n, alpha=alpha)

    def ways(sum_of_gaps: int, parts: int) -> int:
        return math.comb(sum_of_gaps + parts - 1, parts - 1) if sum_of_gaps >= 0 else 0

    for gap in range(40):
        every = ways(total + gap, n + 1)
        at_least = sum(ways(total + gap - g, n) for g in range(gap, total + gap + 1)) / every
        at_most = sum(ways(total + gap - g, n) for g in range(gap + 1)) / every
        assert (gap <= chart.upper_limit[n]) == (at_least > alpha / 2 * (1 + 1e-12))
        assert (gap >= chart.lower_limit[n]) == (at_most > alpha / 2 * (1 + 1e-12))


def test_later_gaps_have_wider_limits_that_close_in_as_the_baseline_grows():
    widths = []
    for n in (3, 12, 200):
        chart = g_chart([100] * n + [100], baseline=n)
        assert chart.upper_limit[-1] > chart.upper_limit[0]
        widths.append(float(chart.upper_limit[-1]))
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] == pytest.approx(-100 * np.log(0.00135), rel=0.03)


def test_a_baseline_of_one_gap_gives_no_limits():
    for chart in (g_chart([5]), g_chart([5, 9], baseline=1)):
        assert np.isnan(chart.centre)
        assert np.isnan([chart.lower_limit, chart.upper_limit]).all()
        assert not any(s.any() for s in chart.signals.values())


def test_events_on_every_day_leave_gaps_of_nothing():
    chart = g_chart([0, 0, 0])
    assert chart.centre == 0.0
    assert chart.lower_limit.tolist() == chart.upper_limit.tolist() == [0.0] * 3


def test_a_wait_is_judged_only_by_earlier_gaps():
    assert np.isnan(open_gap(40, []).p_as_long)
    assert open_gap(0, [10, 20]).p_as_long == 1.0
    assert open_gap(0, [10, 20]).rate_upper == np.inf
    # No event in 299.57 line-days: the one-sided 95 % limit is 10 per 1000.
    assert open_gap(-1000 * np.log(0.05) / 10, []).rate_upper == pytest.approx(0.01)
    waits = [open_gap(w, [10, 20, 30]).p_as_long for w in (1, 10, 100, 1000)]
    assert waits == sorted(waits, reverse=True)


@FEW
@given(PERIODS)
def test_the_change_point_distribution_sums_to_one_and_its_set_is_the_smallest(periods):
    events, days = np.array(periods).T
    found = change_point(events, days, replicates=99)
    if np.isnan(found.p):
        assert found.first_period == -1
        assert np.isnan(found.probability).all()
        return
    assert found.probability.sum() == pytest.approx(1.0)
    assert found.probability[days == 0].sum() == 0.0
    inside = found.probability[found.likely_periods]
    outside = np.delete(found.probability, found.likely_periods)
    assert inside.sum() >= 0.95 - 1e-9
    assert inside.sum() - inside.min() < 0.95
    assert outside.max(initial=0.0) <= inside.min()
    assert found.first_period in found.likely_periods
    assert np.nanmin(found.log_likelihood_ratio) >= -1e-9


@FEW
@given(PERIODS)
def test_a_step_read_backwards_is_the_same_step(periods):
    events, days = np.array(periods).T
    assume((days > 0).all())
    assume(events.sum() > 0)
    assume(len(days) > 1)
    one = change_point(events, days, replicates=9).probability
    other = change_point(events[::-1], days[::-1], replicates=9).probability
    assert one[1:] == pytest.approx(other[1:][::-1], rel=1e-9)


def test_nothing_happened_and_so_nothing_changed():
    for events, days in [([0, 0], [9, 9]), ([3], [9]), ([3, 2], [9, 0])]:
        found = change_point(events, days)
        assert found.first_period == -1
        assert np.isnan([found.p, found.rate_before_per_1000]).all()
        assert found.likely_periods.size == 0


def test_a_steady_rate_is_rarely_said_to_have_changed():
    rng = np.random.default_rng(2)
    days = rng.integers(300, 900, 18)
    p = [change_point(rng.poisson(0.004 * days), days, replicates=199).p for _ in range(200)]
    assert np.sum(np.array(p) <= 0.05) <= 20


@CASES
@given(PERIODS, st.randoms())
def test_a_funnel_depends_on_no_order(groups, random):
    shuffled = list(enumerate(groups))
    random.shuffle(shuffled)
    place = [i for i, _ in shuffled]
    for function in (funnel, overdispersed_funnel):
        one = function(*np.array(groups).T)
        other = function(*np.array([g for _, g in shuffled]).T)
        assert np.allclose(one.upper_998[place], other.upper_998, rtol=1e-9, equal_nan=True)
        assert np.array_equal(one.centre, other.centre, equal_nan=True)


@CASES
@given(PERIODS)
def test_funnel_limits_are_nested_and_allowing_for_differences_widens_them(groups):
    events, days = np.array(groups).T
    exact, wide = funnel(events, days), overdispersed_funnel(events, days)
    known = ~np.isnan(exact.upper_95)
    assert known.tolist() == (days > 0).tolist()
    assert (exact.lower_998 <= exact.lower_95)[known].all()
    assert (exact.upper_95 <= exact.upper_998)[known].all()
    assert (wide.upper_998 >= exact.upper_998)[known].all()
    assert (wide.lower_998 <= exact.lower_998)[known].all()


def test_groups_without_events_or_days_have_an_empty_funnel():
    none = funnel([0, 0], [500, 700])
    assert none.centre == 0.0
    assert none.upper_998.tolist() == [0.0, 0.0]
    assert np.isnan(group_dispersion([0, 0], [500, 700]).phi)
    empty = funnel([0], [0])
    assert np.isnan([empty.centre, empty.upper_998[0], empty.rate_per_1000[0]]).all()
    one = group_dispersion([4], [500])
    assert np.isnan(one.phi)
    assert one.tau == 0.0


GAP_CASES = st.lists(st.tuples(st.integers(0, 400), st.integers(1, 60)), min_size=3, max_size=40)


@CASES
@given(GAP_CASES, st.booleans())
def test_a_gap_in_whole_days_is_a_signal_exactly_beyond_its_limits(cases, frozen: bool):
    gaps, widths = np.array(cases).T
    chart = day_gap_chart(gaps, widths, widths[::-1], baseline=2 if frozen else None)
    assert (chart.signals[GapRule.TOO_SHORT] == (gaps < chart.lower_limit)).all()
    assert (chart.signals[GapRule.LONG_WITHOUT_EVENT] == (gaps > chart.upper_limit)).all()


@CASES
@given(st.integers(2, 300), st.integers(2, 50))
def test_gaps_in_whole_days_leave_no_more_outside_than_they_claim(mean: int, n: int):
    # The chance of each count of days, added up from the formula for one day at a time.
    chart = day_gap_chart([mean] * n, 1, 1)
    rate = 1 / mean
    days = np.arange(40 * mean)
    at_least = np.append(1.0, np.expm1(rate) / rate * np.exp(-rate * (days + 1)))
    chance = -np.diff(at_least)
    assert chance[days < chart.lower_limit[0]].sum() <= 0.00135 + 1e-12
    assert chance[days > chart.upper_limit[0]].sum() <= 0.00135 + 1e-9
    assert chance[days >= chart.upper_limit[0]].sum() > 0.00135 - 1e-9


def test_gaps_without_a_baseline_have_no_limits_and_impossible_ones_are_refused():
    for chart in (day_gap_chart([5], 1, 1), day_gap_chart([0, 0], 1, 1), day_gap_chart([], 1, 1)):
        assert np.isnan(chart.upper_limit).all()
        assert not any(broken.any() for broken in chart.signals.values())
    with pytest.raises(ValueError, match="widths must be 1 or more"):
        day_gap_chart([1, 2], 0, 1)
    with pytest.raises(ValueError, match="baseline must be 1 to 2 gaps"):
        day_gap_chart([1, 2], 1, 1, baseline=3)


def test_a_steady_programme_has_few_false_alarms_and_an_empty_one_no_rate():
    families, months = np.tile(np.arange(30), 24), np.repeat(np.arange(24), 30)
    steady = np.random.default_rng(3).poisson(0.2, 720)
    assert false_alarm_rate(steady, [30] * 720, families, months) <= 0.15
    assert np.isnan(false_alarm_rate([0] * 720, [30] * 720, families, months))
    assert np.isnan(false_alarm_rate([], [], [], []))
    # No month is left after a baseline of all of them.
    assert np.isnan(false_alarm_rate(steady, [30] * 720, families, months, baseline=24))
