"""Day tables worked by hand: no events, no lines, one line, and what is refused."""

import numpy as np
import pytest

from analysis.stats.competing import aalen_johansen
from analysis.stats.curve_limits import log_log_limits
from analysis.stats.day_table import DayTable, day_table, day_tables, has_time
from analysis.stats.logrank import logrank
from analysis.stats.survival import kaplan_meier, median_days, restricted_mean, start_when


def lines(text: str, n_causes: int = 1) -> DayTable:
    """Rows of entry, exit, cause."""
    rows = [[int(cell) for cell in row.split()] for row in text.strip().splitlines()]
    entry, leave, cause = zip(*rows, strict=True)
    return day_table(entry, leave, cause, n_causes=n_causes)


def test_a_line_is_at_risk_from_the_day_after_it_came_home_to_the_day_it_ended() -> None:
    assert lines("2 4 1").at_risk.tolist() == [0, 0, 0, 1, 1]


def test_a_line_that_came_home_late_does_not_vouch_for_earlier_days() -> None:
    """Day 2: one of two ended; the third came home on day 2, so it is not among the two."""
    found = kaplan_meier(lines("0 2 1\n0 9 0\n2 9 0"))
    assert found.at(2).survival[0] == 0.5
    as_if_from_placement = kaplan_meier(lines("0 2 1\n0 9 0\n0 9 0"))
    assert as_if_from_placement.at(2).survival[0] == pytest.approx(2 / 3)


@pytest.mark.parametrize(
    ("entry", "leave", "sentence"),
    [
        ([0, 4], [3, 4], "after entry_days.*position 1"),
        ([5, 0], [3, 4], "after entry_days.*position 0"),
        ([0, -1], [3, 4], "not be negative; position 1"),
        ([0, 0], [3, 40_000], "beyond 36600; position 1"),
        ([0], [3, 4], "lengths differ: entry_days 1, exit_days 2"),
        ([0.0, 1.0], [3, 4], "entry_days must be whole numbers"),
        ([[0, 1]], [3, 4], "flat list"),
    ],
)
def test_days_that_cannot_be_are_refused(entry, leave, sentence) -> None:
    with pytest.raises(ValueError, match=sentence):
        day_tables(entry, leave, [1, 0], [0, 0], n_causes=1, n_groups=1)


def test_an_unknown_cause_or_group_is_refused() -> None:
    with pytest.raises(ValueError, match="causes must be 0 to 1; position 0"):
        day_table([0], [3], [2], n_causes=1)
    with pytest.raises(ValueError, match="groups must be 0 to 1; position 0"):
        day_tables([0], [3], [1], [2], n_causes=1, n_groups=2)
    with pytest.raises(ValueError, match="1 or more"):
        day_table([0], [3], [0], n_causes=0)


def test_lines_removed_the_day_they_came_home_are_counted_apart() -> None:
    mask = has_time([0, 3, 5], [4, 3, 6])
    assert mask.tolist() == [True, False, True]
    assert int((~mask).sum()) == 1
    with pytest.raises(ValueError, match="before entry_days; position 0"):
        has_time([5], [3])


def test_counts_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="more lines left than were at risk; day 1"):
        DayTable(np.array([0, 1]), np.array([0, 1]), np.array([[0], [0]]))
    with pytest.raises(ValueError, match="more lines ended than left; day 1"):
        DayTable(np.array([1, 0]), np.array([0, 1]), np.array([[0], [2]]))
    with pytest.raises(ValueError, match="one row a day"):
        DayTable(np.array([1, 0]), np.array([0, 1]), np.array([0, 1]))
    with pytest.raises(ValueError, match="2 causes cannot be added to one of 3"):
        _ = DayTable.empty(2) + DayTable.empty(3)


def test_many_lines_are_all_counted() -> None:
    """More than are counted at a time."""
    entry, stay = np.arange(250_001) % 7, 1 + np.arange(250_001) % 11
    table = day_table(entry, entry + stay, np.arange(250_001) % 3, n_causes=2)
    assert table.n_lines == 250_001
    assert table.entered.tolist()[:7] == np.bincount(entry).tolist()
    assert table.events.sum(axis=0).tolist() == [83_334, 83_333]


def test_a_table_cannot_be_changed() -> None:
    with pytest.raises(ValueError, match="read-only"):
        lines("0 3 1").entered[0] = 7


def test_no_line_gives_a_curve_of_one_row_and_no_median() -> None:
    nothing = DayTable.empty(3)
    assert kaplan_meier(nothing).survival.tolist() == [1]
    assert aalen_johansen(nothing).share.tolist() == [[0, 0, 0]]
    assert median_days(kaplan_meier(nothing)).day is None
    assert np.isnan(restricted_mean(kaplan_meier(nothing), 30).days)
    assert start_when(nothing) is None
    assert kaplan_meier(day_table([], [], [], n_causes=1)).day.tolist() == [0]


def test_without_events_the_lower_limit_is_that_of_no_event_in_so_many_lines() -> None:
    """Clopper and Pearson for 0 of 10, 0.025 ** (1/10) = 0.6915; then four lines stay."""
    table = lines("\n".join(["0 3 0"] * 6 + ["0 5 0"] * 4))
    found = kaplan_meier(table)
    assert found.survival.tolist() == [1] * 6
    assert found.upper.tolist() == [1] * 6
    assert found.lower == pytest.approx([1] + [0.025 ** (1 / 10)] * 3 + [0.025 ** (1 / 4)] * 2)
    assert median_days(found).day is None
    incidence = aalen_johansen(table)
    assert incidence.upper[:, 0] == pytest.approx(1 - found.lower)
    assert incidence.lower[:, 0].tolist() == [0] * 6
    mean = restricted_mean(found, 4)
    assert (mean.days, mean.upper) == (4, 4)
    assert mean.lower == pytest.approx(4 * 0.025 ** (1 / 10))
    assert np.isnan(mean.std_error)


def test_a_cause_without_events_has_an_upper_limit_beside_causes_with_some() -> None:
    found = aalen_johansen(lines("0 2 1\n0 9 0\n0 9 0\n0 9 0", n_causes=2))
    assert found.share[:, 1].tolist() == [0] * 10
    assert found.std_error[:, 1].tolist() == [0] * 10
    assert found.upper[2, 1] == pytest.approx(1 - 0.025 ** (1 / 4))
    assert found.upper[3, 1] == pytest.approx(1 - 0.025 ** (1 / 3))


def test_one_line_removed_leaves_nothing_and_limits_say_so() -> None:
    found = kaplan_meier(lines("0 3 1"))
    assert found.survival.tolist() == [1, 1, 1, 0]
    assert np.isnan(found.std_error[3])
    assert (found.lower[3], found.upper[3]) == (0, 1)
    incidence = aalen_johansen(lines("0 3 1"))
    assert incidence.share[3, 0] == 1
    assert (incidence.lower[3, 0], incidence.upper[3, 0]) == (0, 1)
    assert (median_days(found).day, median_days(found).upper) == (3, None)


def test_an_early_end_of_the_only_line_at_risk_is_avoided_by_a_later_start() -> None:
    early_end = "0 2 1\n" + "\n".join(["3 30 0"] * 12)
    table = lines(early_end)
    assert kaplan_meier(table).survival[-1] == 0
    start = start_when(table, min_at_risk=10)
    assert start == 3
    later = kaplan_meier(table, start=start)
    assert later.start == 3
    assert later.survival.tolist() == [1] * 28
    assert aalen_johansen(table, start=start).share[-1, 0] == 0
    assert restricted_mean(later, 10).days == 7


def test_a_start_with_nobody_after_it_is_refused() -> None:
    with pytest.raises(ValueError, match="nobody was at risk after day 9; the last is 5"):
        kaplan_meier(lines("0 5 1"), start=9)
    with pytest.raises(ValueError, match="must not be negative"):
        aalen_johansen(lines("0 5 1"), start=-1)


def test_days_beyond_the_last_line_have_no_estimate() -> None:
    found = kaplan_meier(lines("0 3 1\n0 5 0")).at([3, 5, 6])
    assert found.day.tolist() == [3, 5, 6]
    assert found.at_risk.tolist() == [2, 1, 0]
    assert found.survival[:2].tolist() == [0.5, 0.5]
    assert np.isnan([found.survival[2], found.lower[2], found.upper[2]]).all()
    assert kaplan_meier(lines("0 3 1")).at(50).survival.tolist() == [0]
    with pytest.raises(ValueError, match="starts on day 2: nothing is known of day 1"):
        kaplan_meier(lines("0 3 1\n0 5 0"), start=2).at([1])


def test_rows_of_event_days_are_the_days_a_line_ended() -> None:
    table = lines("0 3 1\n0 5 2\n0 7 0\n0 9 1\n0 9 0", n_causes=2)
    assert kaplan_meier(table).on_event_days().day.tolist() == [3, 5, 9]
    assert aalen_johansen(table).on_event_days().events.tolist() == [[1, 0], [0, 1], [1, 0]]


def test_a_mean_beyond_the_last_line_is_not_known() -> None:
    found = restricted_mean(kaplan_meier(lines("0 3 1\n0 5 0")), 30)
    assert np.isnan([found.days, found.std_error, found.lower, found.upper]).all()
    everything_ended = restricted_mean(kaplan_meier(lines("0 3 1\n0 5 1")), 30)
    assert everything_ended.days == 4
    one_line = restricted_mean(kaplan_meier(lines("0 3 1")), 30)
    assert one_line.days == 3
    assert np.isnan([one_line.std_error, one_line.lower, one_line.upper]).all()
    with pytest.raises(ValueError, match="after day 0"):
        restricted_mean(kaplan_meier(lines("0 3 1")), 0)


def test_limits_of_a_mean_stay_between_no_and_all_days() -> None:
    """Ends on days 1 and 9 of 10 possible: mean 5, SE 4/sqrt 2, half the days: logit 0.
    The limits are 10 / (1 + exp(+-1.959964 . 2.828427 / 2.5)) = 0.98 and 9.02."""
    found = restricted_mean(kaplan_meier(lines("0 1 1\n0 9 1")), 10)
    assert found.std_error == pytest.approx(8**0.5)
    assert (found.lower, found.upper) == pytest.approx((0.98, 9.02), abs=0.005)


def test_confidence_must_be_a_share() -> None:
    with pytest.raises(ValueError, match="between 0 and 1, not 95"):
        kaplan_meier(lines("0 3 1"), confidence=95)


def test_the_log_log_scale_has_no_limits_at_its_ends() -> None:
    lower, upper = log_log_limits(np.array([0.0, 1.0]), np.array([0.1, 0.1]), 1.96)
    assert np.isnan([lower, upper]).all()


def test_a_comparison_without_events_or_common_days_has_no_p() -> None:
    none = logrank([lines("0 5 0"), lines("0 5 0")])
    assert (none.df, none.observed.tolist()) == (0, [0, 0])
    assert np.isnan([none.statistic, none.p]).all()
    apart = logrank([lines("0 5 1\n0 4 1"), lines("6 9 1\n6 8 1")])
    assert apart.df == 0
    assert logrank([lines("0 5 1"), DayTable.empty(1), lines("0 9 0")]).df == 1
    with pytest.raises(ValueError, match="two groups or more, not 1"):
        logrank([lines("0 5 1")])
    with pytest.raises(ValueError, match="cause must be 1 to 1, not 2"):
        logrank([lines("0 5 1"), lines("0 5 1")], cause=2)


def test_the_log_rank_test_sees_late_entry() -> None:
    """With entries overlooked, lines that came home later look as if they had lasted."""
    early = "0 3 1\n0 4 1\n0 6 0\n0 9 1"
    late = "5 8 1\n5 7 1\n5 9 0\n5 9 1"
    right = logrank([lines(early), lines(late)])
    wrong = logrank([lines(early), lines(late.replace("5 ", "0 "))])
    assert right.observed.tolist() == wrong.observed.tolist()
    assert right.expected[1] < wrong.expected[1]
    assert abs(right.statistic - wrong.statistic) > 0.1
