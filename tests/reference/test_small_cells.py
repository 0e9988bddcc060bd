"""The small-cell rule against its published wording."""

from analysis.stats.small_cells import hidden_counts

# US Centers for Medicare & Medicaid Services, cell size suppression policy: counts of 1 to 10 are
# not displayed, nor anything from which one can be derived; zero may be displayed.


def test_one_to_ten_are_hidden_and_zero_and_eleven_are_shown():
    found = hidden_counts([0, 1, 10, 11, 300])
    assert found.counts.tolist() == [False, True, True, False, False]
    assert not found.total


def test_a_single_small_count_takes_the_smallest_other_with_it():
    found = hidden_counts([4, 25, 0, 12])
    assert found.counts.tolist() == [True, False, False, True]


def test_a_small_total_is_hidden_too():
    assert hidden_counts([4, 3, 0]).total
