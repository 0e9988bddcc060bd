"""Small cells: every table that could stand behind what is shown is written out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.stats.small_cells import hidden_counts, hidden_table
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
@given(st.integers(1, 2), st.integers(1, 2), st.data())
def test_no_hidden_small_count_of_a_table_can_be_worked_out(rows, columns, data):
    table = [[data.draw(COUNT) for _ in range(columns)] for _ in range(rows)]
    found = hidden_table(table)
    possible = list(
        oracle.tables_like(
            table, found.cells, found.row_totals, found.column_totals, found.total, MOST
        )
    )
    for i in range(rows):
        for j in range(columns):
            if 1 <= table[i][j] <= 10:
                assert found.cells[i, j]
                assert len({t[i][j] for t in possible}) > 1
    assert found.row_totals[[1 <= sum(row) <= 10 for row in table]].all()
    small = [1 <= sum(c) <= 10 for c in zip(*table, strict=True)]
    assert found.column_totals[small].all()


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


def test_a_list_is_not_a_table():
    with pytest.raises(ValueError, match="counts must be a table of rows and columns"):
        hidden_table([1, 2, 3])
    with pytest.raises(ValueError, match="counts must be whole numbers"):
        hidden_counts([-1])


def test_a_wide_table_hides_little_beyond_its_small_counts():
    rng = np.random.default_rng(9)
    table = rng.poisson(rng.gamma(0.7, 40, (5, 8)))
    found = hidden_table(table)
    small = (table >= 1) & (table <= 10)
    assert found.cells[small].all()
    assert not found.cells[table == 0].any()
    assert found.cells.sum() <= small.sum() + 6
