"""Limits of counts, rates and shares: against plain sums, and what must hold."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.stats.bootstrap import FEWEST_FAMILIES, cluster_share_interval
from analysis.stats.intervals import (
    exact_count_interval,
    exact_rate_interval,
    exact_share_interval,
    midp_count_interval,
    midp_lower_tail,
    midp_rate_interval,
    midp_upper_tail,
)
from tests.cases import cases
from tests.oracles import rates as oracle

CASES = cases(100)
FEW = cases(30)
COUNT = st.integers(0, 60)
CONFIDENCE = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.998])
FAMILIES = st.lists(
    st.integers(0, 12).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))),
    min_size=1,
    max_size=25,
)


@FEW
@given(COUNT, CONFIDENCE)
def test_count_limits_are_those_of_summed_tails(count: int, confidence: float):
    tail = (1 - confidence) / 2
    exact, midp = (
        f(count, confidence=confidence) for f in (exact_count_interval, midp_count_interval)
    )
    for found, half in [(exact, 0.0), (midp, 0.5)]:
        lower, upper = oracle.count_limits(count, tail, half)
        assert float(found.lower) == pytest.approx(lower, rel=1e-8)
        assert float(found.upper) == pytest.approx(upper, rel=1e-8)


@CASES
@given(st.integers(1, 5000), CONFIDENCE)
def test_at_a_midp_limit_the_test_gives_exactly_alpha(count: int, confidence: float):
    found = midp_count_interval(count, confidence=confidence)
    assert 2 * midp_upper_tail(count, found.lower) == pytest.approx(1 - confidence, rel=1e-9)
    assert 2 * midp_lower_tail(count, found.upper) == pytest.approx(1 - confidence, rel=1e-9)


@CASES
@given(COUNT, st.integers(1, 100_000))
def test_midp_limits_lie_within_the_exact_ones(events: int, line_days: int):
    exact, midp = (f(events, line_days) for f in (exact_rate_interval, midp_rate_interval))
    assert exact.lower <= midp.lower <= midp.rate_per_1000 <= midp.upper < exact.upper


@CASES
@given(COUNT, st.integers(1, 100_000))
def test_more_confidence_is_wider(events: int, line_days: int):
    for function in (exact_rate_interval, midp_rate_interval):
        narrow = function(events, line_days, confidence=0.9)
        wide = function(events, line_days, confidence=0.99)
        assert wide.lower <= narrow.lower
        assert wide.upper > narrow.upper


@FEW
@given(st.lists(st.tuples(COUNT, st.integers(0, 5000)), min_size=1, max_size=6), st.randoms())
def test_rates_do_not_depend_on_what_stands_beside_them(groups, random):
    shuffled = groups.copy()
    random.shuffle(shuffled)
    for function in (exact_rate_interval, midp_rate_interval):
        whole = function(*zip(*shuffled, strict=True))
        assert len(whole.lower) == len(groups)
        for i, (events, days) in enumerate(shuffled):
            alone = function(events, days)
            assert np.array_equal(whole.lower[i], alone.lower, equal_nan=True)
            assert np.array_equal(whole.upper[i], alone.upper, equal_nan=True)


@CASES
@given(st.lists(st.tuples(COUNT, st.integers(1, 5000)), min_size=2, max_size=8))
def test_merged_parts_are_as_sure_as_the_whole(parts):
    events, days = np.array(parts).sum(axis=0)
    merged = exact_rate_interval(events, days)
    # A whole is surer than any of its parts, for its size.
    for x, d in parts:
        part = exact_rate_interval(x, d)
        width = (part.upper - part.lower) * d
        assert (merged.upper - merged.lower) * days >= width * (1 - 1e-12)
    assert merged.lower <= 1000 * events / days <= merged.upper


def test_no_event_has_a_lower_limit_of_exactly_zero_and_an_upper_one():
    for function in (exact_rate_interval, midp_rate_interval):
        found = function(0, 500)
        assert float(found.rate_per_1000) == 0.0
        assert float(found.lower) == 0.0
        assert 0 < float(found.upper) < 10


def test_no_line_days_give_no_rate_and_never_zero():
    for function in (exact_rate_interval, midp_rate_interval):
        found = function([0, 1], [0, 0])
        assert np.isnan([found.rate_per_1000, found.lower, found.upper]).all()


def test_no_outcomes_give_no_share():
    found = exact_share_interval(0, 0)
    assert np.isnan([found.share, found.lower, found.upper]).all()


@pytest.mark.parametrize(
    ("events", "line_days", "message"),
    [
        ([1, -1], [5, 5], "events must be whole numbers of 0 or more; position 1 holds -1"),
        ([1, 1.5], [5, 5], "events must be whole numbers of 0 or more; position 1 holds 1.5"),
        ([1, 1], [5, np.nan], "line_days must be whole numbers of 0 or more; position 1 holds nan"),
        (["a"], [5], "events must be whole numbers of 0 or more, but holds values of type <U1"),
    ],
)
def test_a_bad_count_is_named_by_place_and_value(events, line_days, message: str):
    with pytest.raises(ValueError, match=f"^{message}$"):
        exact_rate_interval(events, line_days)


@pytest.mark.parametrize("confidence", [0, 1, 95, -0.1, float("nan")])
def test_confidence_outside_its_range_is_refused(confidence: float):
    with pytest.raises(ValueError, match="confidence must be between 0 and 1"):
        exact_rate_interval(1, 10, confidence=confidence)


def test_more_on_time_than_scored_is_refused():
    with pytest.raises(ValueError, match="position 1 holds 5 of 4"):
        cluster_share_interval([4, 5], [4, 4])


@CASES
@given(FAMILIES, st.randoms())
def test_resampled_limits_depend_on_no_order(families, random):
    groups = [i % 3 for i in range(len(families))]
    rows = [(*pair, g) for pair, g in zip(families, groups, strict=True)]
    random.shuffle(rows)
    one = cluster_share_interval(*zip(*families, strict=True), groups, n_groups=3, replicates=50)
    other = cluster_share_interval(*zip(*rows, strict=True), n_groups=3, replicates=50)
    for field in ("numerator", "denominator", "families", "share", "lower", "upper"):
        assert np.array_equal(getattr(one, field), getattr(other, field), equal_nan=True)


@CASES
@given(FAMILIES)
def test_a_group_has_the_limits_it_has_alone(families):
    yes, out_of = zip(*families, strict=True)
    alone = cluster_share_interval(yes, out_of, replicates=50)
    beside = cluster_share_interval(
        [*yes, 3, 0, 7, 1, 4, 2], [*out_of, *[9] * 6], [0] * len(yes) + [1] * 6, replicates=50
    )
    assert np.array_equal(alone.lower, beside.lower[:1], equal_nan=True)
    assert np.array_equal(alone.upper, beside.upper[:1], equal_nan=True)


@CASES
@given(FAMILIES)
def test_resampled_limits_stay_within_zero_and_one_and_are_missing_for_few_families(families):
    found = cluster_share_interval(*zip(*families, strict=True), replicates=50)
    counting = sum(out_of > 0 for _, out_of in families)
    assert found.families[0] == counting
    if counting < FEWEST_FAMILIES:
        assert np.isnan([found.lower[0], found.upper[0]]).all()
    else:
        assert 0 <= found.lower[0] <= found.upper[0] <= 1
    assert np.isnan(found.share[0]) == (counting == 0)


@CASES
@given(FAMILIES, st.integers(1, 5))
def test_families_without_anything_scored_change_nothing(families, more: int):
    yes, out_of = zip(*families, strict=True)
    one = cluster_share_interval(yes, out_of, replicates=50)
    other = cluster_share_interval(yes + (0,) * more, out_of + (0,) * more, replicates=50)
    assert np.array_equal(one.lower, other.lower, equal_nan=True)
    assert one.families == other.families


def test_one_family_has_a_share_without_limits():
    found = cluster_share_interval([7], [8])
    assert found.share.tolist() == [0.875]
    assert np.isnan([found.lower[0], found.upper[0]]).all()


def test_families_all_on_time_still_have_a_lower_limit():
    # Eight families: 0.025 ** (1 / 8).
    found = cluster_share_interval([5, 1, 2, 9, 4, 4, 3, 2], [5, 1, 2, 9, 4, 4, 3, 2])
    assert found.share[0] == 1.0
    assert found.lower[0] == pytest.approx(0.025 ** (1 / 8))
    assert found.upper[0] == 1.0
    never = cluster_share_interval([0] * 8, [5, 1, 2, 9, 4, 4, 3, 2])
    assert never.upper[0] == pytest.approx(1 - 0.025 ** (1 / 8))


def test_families_all_alike_leave_no_doubt():
    found = cluster_share_interval([1] * 6, [2] * 6)
    assert found.lower.tolist() == found.upper.tolist() == [0.5]


def test_many_alike_families_and_many_different_ones_are_drawn_from_one_distribution():
    # The same shares, once as few distinct pairs and once as pairs that all differ.
    rng = np.random.default_rng(5)
    late = rng.binomial(4, 0.2, size=2000)
    alike = cluster_share_interval(late, [4] * 2000)
    scale = rng.permutation(2000) + 10_000
    apart = cluster_share_interval(late * scale, 4 * scale)
    assert alike.lower[0] == pytest.approx(apart.lower[0], abs=0.003)
    assert alike.upper[0] == pytest.approx(apart.upper[0], abs=0.003)


def test_a_group_out_of_range_is_named():
    with pytest.raises(ValueError, match="groups holds 3, but n_groups is 2"):
        cluster_share_interval([1], [2], [3], n_groups=2)
    with pytest.raises(ValueError, match="groups has 2 entries, but there are 1 numerators"):
        cluster_share_interval([1], [2], [0, 0])
