"""Small cells: every table that could stand behind what is shown is written out."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.stats.small_cells import hidden_counts
from tests.cases import cases
from tests.oracles import rates as oracle

CASES = cases(60)
# Few enough values that all tables can be tried.
COUNT = st.sampled_from([0, 0, 1, 2, 3, 9, 11, 12, 13])
MOST = 15


@CASES
@given(st.lists(COUNT, min_size=1, max_size=4))
def test_no_hidden_small_count_of_a_list_can_be_worked_out(counts):
    found = hidden_counts(counts)
    tables = list(
        oracle.tables_like(
            [counts], [found.counts], [found.total], [True] * len(counts), True, MOST
        )
    )
    assert counts in [table[0] for table in tables]
    for i, count in enumerate(counts):
        if 1 <= count <= 10:
            assert found.counts[i]
            assert len({table[0][i] for table in tables}) > 1
        if count == 0:
            assert not found.counts[i]


@CASES
@given(st.lists(st.integers(11, 99), min_size=1, max_size=6))
def test_nothing_is_hidden_where_nothing_is_small(counts):
    found = hidden_counts(counts)
    assert not found.counts.any()
    assert not found.total


@CASES
@given(st.lists(st.integers(0, 60), min_size=1, max_size=8))
def test_a_list_read_backwards_hides_as_much(counts):
    one, other = hidden_counts(counts), hidden_counts(counts[::-1])
    assert one.counts.sum() == other.counts.sum()
    assert one.total == other.total


def test_no_more_is_hidden_than_needed():
    found = hidden_counts([3, 5, 40, 50])
    assert found.counts.tolist() == [True, True, False, False]
    # Two counts of 1 with a total that says so: one more must go.
    found = hidden_counts([1, 1, 40, 50])
    assert found.counts.tolist() == [True, True, True, False]


def test_the_total_goes_last():
    # Nothing else is left beside the zeros.
    found = hidden_counts([4, 0, 0])
    assert found.counts.tolist() == [True, False, False]
    assert found.total


def test_counts_that_are_not_whole_are_refused():
    with pytest.raises(ValueError, match="counts must be whole numbers"):
        hidden_counts([-1])
