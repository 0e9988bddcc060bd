"""Tables of measures on histories small enough to redo by hand."""

import pytest
from tests.written import day, written

from analysis.measures import Limits, MeasureError, adherence, compare, counts, line_table, rates
from analysis.policy import shipped_policy
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import Basis, Grouping, Task

POLICY = shipped_policy()
# Two families at two sites, both home from 1 March; F1 changes on time, F2 three days late.
LINES = """
line_id | child_id | family_id | site  | home_from  | dressing_on | therapy
L1      | C1       | F1        | north | 2031-03-01 | 2031-03-01  | chemotherapy
L2      | C2       | F2        | south | 2031-03-01 | 2031-03-01  |
"""
LOG = """
line_id | done_at    | kind            | findings
L1      | 2031-03-08 | dressing_change | redness
L2      | 2031-03-11 | dressing_change | none
L2      | 2031-04-02 | skin_check      | rash
"""


def tallies_on(as_of, **tables):
    tables.setdefault("lines", LINES)
    tables.setdefault("home_log", LOG)
    records = written(**tables)
    return tally(build(records, POLICY, day(as_of)), records, POLICY)


def test_adherence_by_site_has_its_numerators_and_denominators():
    table = adherence(tallies_on("2031-03-14"), Grouping.SITE, Task.DRESSING).set_index("group")
    assert table.loc["north", ["intervals_on_time", "intervals_scored"]].tolist() == [1, 1]
    assert table.loc["south", ["intervals_on_time", "intervals_scored"]].tolist() == [0, 1]
    assert table.loc["south", ["in_date_days", "out_of_date_days"]].tolist() == [10, 3]
    assert table.loc["south", "in_date_share"] == 10 / 13
    assert table["families"].tolist() == [1, 1]
    assert table["on_time_lower"].isna().all()


def test_limits_resample_families_and_need_five_of_them():
    two = adherence(tallies_on("2031-03-14"), Grouping.ALL, Task.DRESSING).iloc[0]
    assert two["on_time_share"] == 0.5
    assert two[["on_time_lower", "in_date_upper"]].isna().all()
    lines = ["line_id | child_id | family_id | home_from | dressing_on"]
    lines += [f"L{n} | C{n} | F{n} | 2031-03-01 | 2031-03-0{n}" for n in range(1, 7)]
    entries = ["line_id | done_at | kind"]
    entries += [f"L{n} | 2031-03-10 | dressing_change" for n in range(1, 7)]
    tallies = tallies_on("2031-03-14", lines="\n".join(lines), home_log="\n".join(entries))
    whole = adherence(tallies, Grouping.ALL, Task.DRESSING).iloc[0]
    # Changed on the 10th: late after a change of 1 or 2 March, on time after 3 to 6 March.
    assert (whole["intervals_on_time"], whole["intervals_scored"]) == (4, 6)
    assert whole["on_time_lower"] < 4 / 6 < whole["on_time_upper"]
    assert whole["in_date_lower"] < whole["in_date_share"] < whole["in_date_upper"]


def test_nothing_known_gives_tables_without_rows():
    empty = tallies_on(
        "2031-03-14",
        lines="line_id | home_from | family_id\n",
        home_log="line_id | done_at | kind\n",
    )
    assert adherence(empty, Grouping.SITE, Task.DRESSING).empty
    assert rates(empty, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT).empty


@pytest.mark.parametrize("by", list(Grouping))
def test_every_grouping_sums_to_the_whole(by):
    tallies = tallies_on("2031-04-10")
    whole = counts(tallies, "skin", Grouping.ALL, Basis.LINE).iloc[0]
    parts = counts(tallies, "skin", by, Basis.LINE)
    assert parts["events"].sum() == whole["events"] == 2
    assert parts["line_days"].sum() == whole["line_days"] == 80


def test_months_and_quarters_read_as_agreed_and_blanks_come_last():
    tallies = tallies_on("2031-04-10")
    months = counts(tallies, "skin", Grouping.MONTH, Basis.LINE)
    assert months["group"].tolist() == ["2031-03", "2031-04"]
    assert months["line_days"].tolist() == [62, 18]
    quarters = counts(tallies, "skin", Grouping.QUARTER, Basis.LINE)
    assert quarters["group"].tolist() == ["2031-Q1", "2031-Q2"]
    therapies = counts(tallies, "skin", Grouping.THERAPY, Basis.LINE)
    assert therapies["group"].fillna("").tolist() == ["chemotherapy", ""]


def test_no_event_still_has_an_upper_limit():
    row = rates(tallies_on("2031-04-10"), "blister", Grouping.ALL, Basis.LINE, Limits.EXACT).iloc[0]
    assert (row["events"], row["rate_per_1000"], row["lower"]) == (0, 0, 0)
    # Garwood upper limit of 0 events: 3.688879 (R poisson.test), over 80 line-days.
    assert row["upper"] == pytest.approx(1000 * 3.688879 / 80, rel=1e-6)


def test_an_unknown_event_is_told_with_the_known_ones():
    with pytest.raises(MeasureError, match="'sore' is not known; known are .*redness"):
        rates(tallies_on("2031-04-10"), "sore", Grouping.ALL, Basis.LINE, Limits.EXACT)


def test_comparing_two_sites_and_two_spells():
    tallies = tallies_on("2031-04-10")
    sites = compare(tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT).iloc[0]
    assert (sites["first"], sites["second"], sites["ratio"]) == ("north", "south", 1.0)
    assert sites["lower"] < 1 < sites["upper"]
    spells = compare(
        tallies, "skin", Grouping.MONTH, Basis.LINE, Limits.MIDP, "2031-04..2031-04", "2031-03"
    ).iloc[0]
    assert spells["ratio"] == pytest.approx((1 / 18) / (1 / 62))


def test_a_comparison_needs_two_groups_with_line_days():
    tallies = tallies_on("2031-04-10")
    with pytest.raises(MeasureError, match="has no home line-days; by site there are north, south"):
        compare(tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT, "north", "west")
    with pytest.raises(MeasureError, match="two groups have to be named"):
        compare(tallies, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT)


def test_the_line_table_speaks_of_one_task_and_needles_only_of_ports():
    records = written(lines=LINES, home_log=LOG)
    timeline = build(records, POLICY, day("2031-03-14"))
    table = line_table(timeline, Task.DRESSING).set_index("line_id")
    assert table.loc["L2", ["state", "days_overdue", "silent_days"]].tolist() == ["in_date", 0, 3]
    assert table["skin_events"].tolist() == [1, 0]
    assert line_table(timeline, Task.NEEDLE).empty
