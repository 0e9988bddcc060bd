"""Log coverage, rates of spells and lines at risk, redone by hand."""

from __future__ import annotations

import pytest

from analysis.measures.at_risk import lines_at_risk
from analysis.measures.comparison import compared_rates
from analysis.measures.coverage import log_coverage
from analysis.measures.dwell import line_times
from analysis.measures.rates import rates
from analysis.policy import shipped_policy
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import Basis, Grouping, Limits
from tests.written import day, written

POLICY = shipped_policy()

LINES = """
line_id | child_id | family_id | site  | home_from  | therapy
L1      | C1       | F1        | north | 2031-03-01 |
L2      | C2       | F2        | south | 2031-03-01 | chemotherapy
"""
# North logs on the first day only: silent from the tenth on. South has a rash in each month.
LOG = """
line_id | done_at    | kind       | findings
L1      | 2031-03-01 | skin_check | none
L2      | 2031-03-08 | skin_check | rash
L2      | 2031-03-16 | skin_check | none
L2      | 2031-03-24 | skin_check | none
L2      | 2031-04-01 | skin_check | none
L2      | 2031-04-09 | skin_check | rash
"""


@pytest.fixture(name="seen", scope="module")
def _seen():
    records = written(lines=LINES, home_log=LOG)
    timeline = build(records, POLICY, day("2031-04-11"))
    return records, timeline, tally(timeline, POLICY)


def test_log_coverage_is_the_share_of_days_that_were_not_silent(seen):
    table = log_coverage(seen[2], Grouping.SITE).set_index("group")
    # 41 days each, 1 March to 10 April; north was silent from the tenth day on.
    assert list(table["home_line_days"]) == [41, 41]
    assert list(table["heard_days"]) == [9, 41]
    assert table["log_coverage"]["north"] == pytest.approx(9 / 41)


def test_the_rate_of_a_spell_sums_its_months(seen):
    table = compared_rates(
        seen[2], "skin", Grouping.MONTH, Basis.LINE, Limits.EXACT, ["2031-03..2031-04", "2031-04"]
    )
    assert list(table["events"]) == [2, 1]
    assert list(table["line_days"]) == [82, 20]
    assert table["rate_per_1000"].iloc[0] == pytest.approx(2000 / 82)
    # Garwood limit of a count of 2: 7.224688, as R's poisson.test has it.
    assert table["upper"].iloc[0] == pytest.approx(7224.688 / 82, rel=1e-6)
    assert table["log_coverage"].iloc[0] == pytest.approx(50 / 82)


def test_a_spell_without_line_days_has_no_rate(seen):
    table = compared_rates(
        seen[2], "skin", Grouping.MONTH, Basis.LINE, Limits.EXACT, ["2030-01", "2031-03"]
    )
    assert table["line_days"].iloc[0] == 0
    assert table["rate_per_1000"].isna().iloc[0]
    assert table["log_coverage"].isna().iloc[0]


def test_families_of_lines_whose_group_is_not_recorded_count_too(seen):
    table = rates(seen[2], "skin", Grouping.THERAPY, Basis.LINE, Limits.CLUSTERED)
    assert list(table["group"].fillna("not recorded")) == ["chemotherapy", "not recorded"]
    assert list(table["line_days"]) == [41, 41]


def test_lines_at_risk_enter_the_day_after_they_came_home_and_stay_to_their_last_day():
    lines = """
    line_id | child_id | family_id | placed_on  | home_from  | removed_on | removal_reason
    L1      | C1       | F1        | 2031-03-01 | 2031-03-01 | 2031-03-06 | dislodgement
    L2      | C2       | F2        | 2031-03-01 | 2031-03-04 |            |
    """
    records = written(lines=lines)
    timeline = build(records, POLICY, day("2031-03-21"))
    times = line_times(timeline, records, Grouping.ALL)
    table = lines_at_risk(times, [1, 3, 4, 5, 6, 20, 21])
    # L1 on days 1 to 5, L2 on days 4 to 20.
    assert list(table["at_risk"]) == [1, 1, 2, 2, 1, 1, 0]
