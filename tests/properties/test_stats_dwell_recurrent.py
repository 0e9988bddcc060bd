"""Mean cumulative numbers against a reading of the textbook day by day, and what must hold."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analysis.stats.recurrent import CountTable, cluster_squares, count_table, mean_count
from tests.cases import cases
from tests.oracles import survival as oracle

CASES = cases(100)


@st.composite
def families(draw):
    """Rows at risk (start, stop, family) and events (day, family) while at risk."""
    rows, events = [], []
    for _ in range(draw(st.integers(1, 10))):
        start = draw(st.integers(0, 6))
        stop = start + draw(st.integers(1, 12))
        family = draw(st.integers(0, 5))
        rows.append((start, stop, family))
        days = draw(st.lists(st.integers(start + 1, stop), max_size=3))
        events.extend((day, family) for day in days)
    return rows, events


def arrays(rows, events):
    start, stop, family = (np.array(c, dtype=np.int64) for c in zip(*rows, strict=True))
    day = np.array([d for d, _ in events], dtype=np.int64)
    owner = np.array([f for _, f in events], dtype=np.int64)
    return start, stop, family, day, owner


def whole_of(rows, events):
    start, stop, family, day, owner = arrays(rows, events)
    table = count_table(start, stop, day)
    squares = cluster_squares(table, start, stop, family, day, owner)
    return mean_count(table, squares, clusters=len(set(family.tolist())))


@CASES
@given(families())
def test_mean_and_error_are_those_of_the_textbook(case) -> None:
    rows, events = case
    found = whole_of(rows, events)
    assert len(found.mean) == len(found.std_error) == len(found.day)
    for day in found.day:
        mean, variance = oracle.mean_count(rows, events, int(day))
        assert found.mean[day] == pytest.approx(float(mean), abs=1e-12)
        if mean and len({family for _, _, family in rows}) > 1:
            assert found.std_error[day] == pytest.approx(float(variance) ** 0.5, abs=1e-9)
        else:
            assert np.isnan(found.std_error[day])


@CASES
@given(families())
def test_parts_with_whole_families_add_up(case) -> None:
    rows, events = case
    parts = [
        arrays(own, [e for e in events if e[1] % 2 == part])
        for part in (0, 1)
        if (own := [row for row in rows if row[2] % 2 == part])
    ]
    table = sum((count_table(p[0], p[1], p[3]) for p in parts), CountTable.empty())
    squares = sum(cluster_squares(table, *part) for part in parts)
    found = mean_count(table, squares, clusters=len({row[2] for row in rows}))
    whole = whole_of(rows, events)
    assert found.mean.tobytes() == whole.mean.tobytes()
    np.testing.assert_allclose(found.std_error, whole.std_error, rtol=1e-9, atol=1e-12)


@CASES
@given(st.lists(st.integers(0, 4), min_size=2, max_size=12), st.integers(5, 9))
def test_with_everyone_followed_it_is_the_mean_and_its_sample_error(counts, until) -> None:
    """Identity: complete follow-up gives the mean of the counts and their variance over n."""
    assume(sum(counts))
    rows = [(0, until, family) for family in range(len(counts))]
    events = [(1 + n, family) for family, count in enumerate(counts) for n in range(count)]
    found = whole_of(rows, events)
    assert found.mean[-1] == pytest.approx(np.mean(counts))
    assert found.std_error[-1] == pytest.approx(np.std(counts) / len(counts) ** 0.5, abs=1e-12)


def test_twice_the_same_lines_as_other_families_halves_the_variance() -> None:
    rows, events = [(0, 9, 0), (0, 9, 1), (2, 9, 2)], [(3, 0), (5, 0), (6, 2)]
    once = whole_of(rows, events)
    twice = whole_of(
        rows + [(a, b, f + 10) for a, b, f in rows], events + [(d, f + 10) for d, f in events]
    )
    np.testing.assert_allclose(once.std_error**2, 2 * twice.std_error**2)
    same = whole_of(rows * 2, events * 2)
    np.testing.assert_allclose(once.std_error, same.std_error)


def test_without_events_the_limits_are_those_of_no_event_in_so_many_lines() -> None:
    """Garwood's upper limit of no event is 3.688879; ten lines at risk, then four."""
    found = whole_of(
        [(0, 3, family) for family in range(6)] + [(0, 5, f) for f in range(6, 10)], []
    )
    assert found.mean.tolist() == [0] * 6
    assert found.lower.tolist() == [0] * 6
    assert found.upper == pytest.approx([0] + [0.3688879] * 3 + [0.92221975] * 2, abs=1e-6)


def test_one_family_has_a_mean_and_no_limits() -> None:
    found = whole_of([(0, 9, 0), (0, 9, 0)], [(3, 0), (5, 0)])
    assert found.mean[-1] == 1
    assert np.isnan([found.std_error[-1], found.lower[-1], found.upper[-1]]).all()


def test_no_line_gives_no_number() -> None:
    table = count_table([], [], [])
    found = mean_count(table, cluster_squares(table, [], [], [], [], []), clusters=1)
    assert found.day.tolist() == [0]
    assert found.at_risk.tolist() == [0]


def test_an_event_while_nobody_is_at_risk_is_refused() -> None:
    with pytest.raises(ValueError, match="nobody was at risk; position 1"):
        count_table([2], [5], [4, 2])
    table = count_table([0, 4], [9, 9], [3])
    with pytest.raises(ValueError, match="its cluster has nobody at risk; position 0"):
        cluster_squares(table, [0, 4], [9, 9], [1, 2], [3], [2])


def test_an_entry_that_is_not_before_its_exit_is_refused() -> None:
    with pytest.raises(ValueError, match="position 1"):
        count_table([0, 5], [9, 5], [3])
