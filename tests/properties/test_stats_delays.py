"""Late reports: against fractions computed by hand, and what must hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.stats.delays import (
    DelayTriangle,
    delay_change,
    delay_distribution,
    delay_triangle,
    nowcast,
)
from tests.cases import cases
from tests.oracles import rates as oracle

CASES = cases(60)
ORIGINS = 6
REPORTS = st.lists(
    st.tuples(st.integers(0, ORIGINS - 1), st.integers(0, 4)).filter(lambda r: sum(r) < ORIGINS),
    max_size=60,
)


def triangle_of(reports: list[tuple[int, int]]) -> DelayTriangle:
    origin, delay = zip(*reports, strict=True) if reports else ((), ())
    return delay_triangle(np.array(origin, int), np.array(delay, int), origins=ORIGINS, delays=5)


@CASES
@given(REPORTS)
def test_shares_within_each_delay_are_those_of_plain_fractions(reports):
    triangle = triangle_of(reports)
    last = [min(ORIGINS - 1 - o, 4) for o in range(ORIGINS)]
    expected = oracle.share_within(triangle.reports.tolist(), last)
    found = delay_distribution(triangle).share_within
    assert found.tolist() == pytest.approx(
        [float("nan") if s is None else float(s) for s in expected], nan_ok=True
    )


@CASES
@given(REPORTS, REPORTS)
def test_triangles_of_parts_sum_to_the_whole(one, other):
    parts, whole = (triangle_of(one), triangle_of(other)), triangle_of(one + other)
    assert (parts[0].reports + parts[1].reports == whole.reports).all()
    assert whole.reports.sum() == len(one) + len(other)


@CASES
@given(REPORTS)
def test_a_nowcast_is_never_below_what_has_come(reports):
    found = nowcast(triangle_of(reports), replicates=50)
    assert found.observed.sum() == len(reports)
    assert (found.lower >= found.observed).all()
    assert (found.upper >= found.lower).all()
    known = ~np.isnan(found.expected_total)
    assert (found.expected_total[known] >= found.observed[known] * (1 - 1e-12)).all()
    # The first two origins have had time for every delay told apart.
    assert (
        found.expected_total[:2].tolist() == found.upper[:2].tolist() == found.observed[:2].tolist()
    )


@CASES
@given(REPORTS)
def test_the_same_triangle_gives_the_same_limits(reports):
    one, other = (nowcast(triangle_of(r), replicates=50) for r in (reports, reports[::-1]))
    assert one.upper.tolist() == other.upper.tolist()
    narrow = nowcast(triangle_of(reports), replicates=50, confidence=0.5)
    assert (narrow.upper <= one.upper).all()


def test_without_reports_recent_periods_are_unknown_and_not_zero():
    found = nowcast(triangle_of([]))
    assert found.expected_total[:2].tolist() == [0.0, 0.0]
    assert np.isnan(found.expected_total[2:]).all()
    assert (found.upper[2:] == np.inf).all()


def test_a_single_origin_without_later_ones_is_complete():
    found = nowcast(delay_triangle([0, 0], [0, 0], origins=1))
    assert found.expected_total.tolist() == [2.0]


def test_reports_that_all_come_late_make_today_unknown():
    found = nowcast(delay_triangle([0, 0], [2, 2], origins=3))
    assert found.completeness.tolist() == [1.0, 0.0, 0.0]
    assert np.isnan(found.expected_total[1:]).all()


def test_batches_widen_the_limits():
    rng = np.random.default_rng(3)
    delay = np.minimum(rng.geometric(0.5, 300) - 1, 4)
    origin = rng.integers(0, 12, 300)
    kept = origin + delay < 12
    single = delay_triangle(origin[kept], delay[kept], origins=12)
    batches = DelayTriangle(single.reports * 5, single.observable)
    one, five = nowcast(single), nowcast(batches)
    assert five.dispersion == pytest.approx(5 * one.dispersion, rel=0.4)
    assert (five.upper - five.lower)[-1] > 3 * (one.upper - one.lower)[-1]


@CASES
@given(REPORTS)
def test_the_change_test_is_that_of_a_plain_loop_but_for_batches(reports):
    # Reverse time: at each delay, the mean origin of reports with it against all up to it.
    score = variance = 0.0
    for j in range(1, 5):
        at_risk = [o for o, d in reports if o + j < ORIGINS and d <= j]
        exactly = [o for o, d in reports if o + j < ORIGINS and d == j]
        n, k = len(at_risk), len(exactly)
        if n < 2:
            continue
        middle = sum(at_risk) / n
        score += sum(exactly) - k * middle
        variance += k * sum((o - middle) ** 2 for o in at_risk) / n * (n - k) / (n - 1)
    found = delay_change(triangle_of(reports))
    if variance < 1e-12:
        assert np.isnan(found.z)
        return
    plain = score / variance**0.5
    batches = (plain / found.z) ** 2 if found.z else 1.0
    assert found.z * plain >= 0
    assert batches > 1 - 1e-9


def test_reports_in_batches_do_not_make_a_change_surer():
    rng = np.random.default_rng(5)
    origin, delay = rng.integers(0, 10, 150), np.minimum(rng.geometric(0.5, 150) - 1, 4)
    kept = origin + delay < 10
    single = delay_triangle(origin[kept], delay[kept], origins=10, delays=5)
    batches = DelayTriangle(9 * single.reports, single.observable)
    assert abs(delay_change(batches).z) < 1.5 * abs(delay_change(single).z)


def test_delays_that_grow_have_a_positive_z():
    origin = np.repeat(np.arange(8), 30)
    rng = np.random.default_rng(1)
    delay = np.minimum(rng.geometric(0.8 - 0.08 * origin) - 1, 4)
    kept = origin + delay < 8
    found = delay_change(delay_triangle(origin[kept], delay[kept], origins=8, delays=5))
    assert found.z > 2
    assert found.p < 0.05


def test_steady_delays_are_rarely_said_to_have_changed():
    rng = np.random.default_rng(4)
    small = 0
    for _ in range(200):
        origin, delay = rng.integers(0, 10, 80), np.minimum(rng.geometric(0.5, 80) - 1, 4)
        kept = origin + delay < 10
        found = delay_change(delay_triangle(origin[kept], delay[kept], origins=10, delays=5))
        small += found.p <= 0.05
    assert small <= 20


def test_impossible_reports_are_named():
    with pytest.raises(ValueError, match="position 1 has origin 2 and delay 1"):
        delay_triangle([0, 2], [0, 1], origins=3)
    with pytest.raises(ValueError, match="delay holds 3, but only 2 delays are distinguished"):
        delay_triangle([0], [3], origins=5, delays=2)
    gap = DelayTriangle(np.zeros((1, 3), int), np.array([[True, False, True]]))
    with pytest.raises(ValueError, match="observable must run from delay 0"):
        nowcast(gap)
    with pytest.raises(ValueError, match="tables of one shape"):
        nowcast(DelayTriangle(np.zeros((1, 3), int), np.ones((1, 2), bool)))


def test_an_origin_that_cannot_have_been_reported_yet_is_unknown():
    triangle = DelayTriangle(
        np.array([[3, 1], [4, 0], [0, 0]]), np.array([[True, True], [True, False], [False, False]])
    )
    found = nowcast(triangle)
    assert np.isnan(found.expected_total[2])
    assert (found.lower[2], found.upper[2]) == (0.0, np.inf)
    known = found.expected_total[:2].tolist()
    assert known == pytest.approx([4.0, 16 / 3])
