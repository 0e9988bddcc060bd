"""Tables of measures on histories small enough to redo by hand."""

import pandas as pd
import pytest

from analysis.measures.adherence import adherence
from analysis.measures.charts import rate_chart
from analysis.measures.comparison import compare
from analysis.measures.counts import MeasureError, counts
from analysis.measures.dwell import compare_dwell, dwell, line_times
from analysis.measures.funnels import group_funnel
from analysis.measures.gap_charts import gap_chart, since_last_event
from analysis.measures.lines import line_table
from analysis.measures.rates import rates
from analysis.policy import shipped_policy
from analysis.snapshot import of_lines
from analysis.tallies import tally
from analysis.timeline import build
from analysis.verdicts import GapCode, gap_verdict
from analysis.vocabulary import Basis, ChartKind, Grouping, Limits, Task
from tests.written import day, snapshot_of, written

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


# One infection at each site, confirmed by the clinic: logging does not bear on it.
OUTCOMES = """
child_id | line_id | outcome             | onset_on
C1       | L1      | exit_site_infection | 2031-03-08
C2       | L2      | exit_site_infection | 2031-04-02
"""
INFECTION = "exit_site_infection"


def tallies_on(as_of, **tables):
    tables.setdefault("lines", LINES)
    tables.setdefault("home_log", LOG)
    records = written(**tables)
    return tally(build(records, POLICY, day(as_of)), POLICY)


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


def test_limits_that_allow_for_families_are_wider_when_one_family_has_the_events():
    head = "line_id | child_id | family_id | home_from\n"
    lines = head + "\n".join(f"L{n} | C{n} | F{n} | 2031-03-01" for n in range(16))
    entries = [f"L0 | 2031-03-{d:02d} | skin_check | rash" for d in (2, 11, 20, 29)]
    entries += ["L1 | 2031-03-02 | skin_check | rash"]
    log = "\n".join(["line_id | done_at | kind | findings", *entries])
    tallies = tallies_on("2031-04-10", lines=lines, home_log=log)
    exact = rates(tallies, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT).iloc[0]
    wide = rates(tallies, "skin", Grouping.ALL, Basis.LINE, Limits.CLUSTERED).iloc[0]
    assert wide["rate_per_1000"] == exact["rate_per_1000"]
    assert wide["lower"] < exact["lower"]
    assert wide["upper"] > exact["upper"]
    therapies = rates(tallies, "skin", Grouping.THERAPY, Basis.LINE, Limits.CLUSTERED)
    assert therapies["upper"].tolist() == [wide["upper"]]


def test_an_unknown_event_is_told_with_the_known_ones():
    with pytest.raises(MeasureError, match="'sore' is not known; known are .*redness"):
        rates(tallies_on("2031-04-10"), "sore", Grouping.ALL, Basis.LINE, Limits.EXACT)


def test_comparing_two_sites_and_two_spells():
    tallies = tallies_on("2031-04-10", outcomes=OUTCOMES)
    both = compare(tallies, INFECTION, Grouping.SITE, Basis.LINE, Limits.EXACT)
    sites, clustered = both.iloc[0], both.iloc[1]
    assert (sites["first"], sites["second"], sites["ratio"]) == ("north", "south", 1.0)
    assert sites["lower"] < 1 < sites["upper"]
    # Two families with events are too few for limits that allow for families being alike.
    assert clustered["ratio"] == pytest.approx(1.0)
    assert pd.isna(clustered["lower"])
    assert "clustered by family" in clustered["method"]
    spells = compare(
        tallies, INFECTION, Grouping.MONTH, Basis.LINE, Limits.MIDP, "2031-04..2031-04", "2031-03"
    ).iloc[0]
    assert spells["ratio"] == pytest.approx((1 / 18) / (1 / 62))


def test_a_comparison_needs_two_groups_with_line_days():
    tallies = tallies_on("2031-04-10")
    with pytest.raises(MeasureError, match="has no home line-days; by site there are north, south"):
        compare(tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT, "north", "west")
    with pytest.raises(MeasureError, match="Did you mean 'north'"):
        compare(tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT, "nroth", "south")
    with pytest.raises(MeasureError, match="two groups have to be named"):
        compare(tallies, "skin", Grouping.ALL, Basis.LINE, Limits.EXACT)


def test_the_line_table_speaks_of_one_task_and_needles_only_of_ports():
    records = written(lines=LINES, home_log=LOG)
    timeline = build(records, POLICY, day("2031-03-14"))
    table = line_table(timeline, Task.DRESSING).set_index("line_id")
    assert table.loc["L2", ["state", "days_overdue", "silent_days"]].tolist() == ["in_date", 0, 3]
    assert table["skin_events"].tolist() == [1, 0]
    assert line_table(timeline, Task.NEEDLE).empty


# One line home from 1 March; skin events on 3, 13 and 23 March and 12 April, logged weekly.
FOUR_EVENTS = """
line_id | done_at    | kind       | findings
L1      | 2031-03-03 | skin_check | rash
L1      | 2031-03-13 | skin_check | rash
L2      | 2031-03-23 | skin_check | rash
L1      | 2031-04-12 | skin_check | rash
"""
WEEKLY = "\n".join(
    f"{line} | {d:%Y-%m-%d} | skin_check | none"
    for line in ("L1", "L2")
    for d in pd.date_range("2031-03-01", "2031-04-19", freq="7D")
)


def gaps_on(kind, basis=Basis.LINE, lines=LINES, log=FOUR_EVENTS + WEEKLY):
    records = written(lines=lines, home_log=log)
    return gap_chart(snapshot_of(records, "2031-04-20", "2032-04-20"), "skin", basis, kind)


def test_gaps_between_events_count_days_or_line_days():
    days = gaps_on(ChartKind.T)
    assert days["period"].tolist() == ["2031-03-13", "2031-03-23", "2031-04-12"]
    # Two lines are at home all the while: 10, 10 and 20 days are 20, 20 and 40 line-days.
    assert days["line_days"].tolist() == [20, 20, 40]
    # The mean gap is 40/3 days. At 3/40 a day a gap of d or more has the chance
    # (exp(.075) - 1) / .075 exp(-.075 d): below a half from d = 10 on, so 9 is the median.
    assert days["centre"].tolist() == [9] * 3
    assert days["signal"].isna().all()
    # In line-days, at 3/80 a line-day and two line-days a day, it is the same gap: 9 days.
    assert gaps_on(ChartKind.G)["centre"].tolist() == [18] * 3


def test_line_days_between_events_are_heard_ones():
    # Without weekly entries a family is heard until the eighth day after an event of its own:
    # L1 on 3 to 11 and 13 to 21 March, L2 on 3 to 9 and 23 to 31 March.
    assert gaps_on(ChartKind.G, log=FOUR_EVENTS)["line_days"].tolist() == [16, 9, 9]


def test_two_events_of_one_day_are_no_signal_by_themselves():
    same_day = FOUR_EVENTS.replace("2031-03-23", "2031-03-13")
    days = gaps_on(ChartKind.T, log=same_day + WEEKLY)
    assert days["period"].tolist() == ["2031-03-13", "2031-03-13 no. 2", "2031-04-12"]
    assert days["lower_limit"].tolist() == [0.0] * 3
    assert days["signal"].isna().all()


def test_a_child_with_two_lines_has_its_days_counted_once():
    one_child = LINES.replace("C2 ", "C1 ").replace("F2 ", "F1 ")
    assert gaps_on(ChartKind.G, Basis.CHILD, one_child)["line_days"].tolist() == [10, 10, 20]
    assert gaps_on(ChartKind.G, Basis.LINE, one_child)["line_days"].tolist() == [20, 20, 40]


def test_gaps_of_a_site_count_its_events_and_the_days_of_its_lines_while_they_are_there():
    """L1 moves from north to south on 13 March, the day of its second event."""
    moved = """
line_id | child_id | family_id | site  | home_from  | dressing_on | valid_from
L1      | C1       | F1        | south | 2031-03-01 | 2031-03-01  | 2031-03-13
L2      | C2       | F2        | south | 2031-03-01 | 2031-03-01  |
"""
    before = """
line_id | site  | valid_from
L1      | north |
"""
    records = written(lines=moved, earlier_lines=before, home_log=FOUR_EVENTS + WEEKLY)
    seen = of_lines(snapshot_of(records, "2031-04-20", "2032-04-20"), {"site": "south"})
    gaps = gap_chart(seen, "skin", Basis.LINE, ChartKind.G)
    assert gaps["period"].tolist() == ["2031-03-23", "2031-04-12"]
    assert gaps["gap"].tolist() == gaps["line_days"].tolist() == [20, 40]
    assert gap_chart(seen, "skin", Basis.LINE, ChartKind.T)["gap"].tolist() == [10, 20]
    assert since_last_event(seen, "skin", Basis.LINE, ChartKind.G).since_last == 16
    # North has the one event of 3 March, before L1 left; south's line has all days since.
    north = of_lines(snapshot_of(records, "2031-04-20", "2032-04-20"), {"site": "north"})
    assert gap_chart(north, "skin", Basis.LINE, ChartKind.G).empty
    assert since_last_event(north, "skin", Basis.LINE, ChartKind.G).since_last == 10


def test_fewer_than_two_events_have_no_gap():
    records = written(lines=LINES, home_log=LOG.replace("rash", "itch"))
    seen = snapshot_of(records, "2031-04-20", "2032-04-20")
    assert gap_chart(seen, "skin", Basis.LINE, ChartKind.G).empty
    # The wait since the one event, of 8 March, has no earlier gap to compare it with.
    wait = since_last_event(seen, "skin", Basis.LINE, ChartKind.T)
    assert wait.since_last == 43
    assert pd.isna(wait.chance)


def test_the_wait_since_the_last_event_is_set_against_the_gaps_before_it():
    records = written(lines=LINES, home_log=FOUR_EVENTS + WEEKLY)
    seen = snapshot_of(records, "2031-04-20", "2032-04-20")
    wait = since_last_event(seen, "skin", Basis.LINE, ChartKind.T)
    # 8 days after three gaps that sum to 40: (1 + 8/40) ** -3.
    assert wait.since_last == 8
    assert wait.chance == pytest.approx(1.2**-3)
    found = gap_verdict(gaps_on(ChartKind.T), wait, ChartKind.T)
    assert found.code is GapCode.STEADY
    assert found.sentence == (
        "No sign of change in the last 3 gaps. 8 days since the last event; at the earlier rate "
        "a wait this long or longer has a chance of 58 %."
    )


def test_a_chart_goes_by_period_and_a_baseline_fits_into_it():
    # Seen a year later: both months are settled.
    records = written(lines=LINES, home_log=LOG, outcomes=OUTCOMES)
    seen = snapshot_of(records, "2031-05-01", "2032-05-01")
    chart = rate_chart(seen, INFECTION, Grouping.MONTH, Basis.LINE)
    assert chart["period"].tolist() == ["2031-03", "2031-04"]
    assert chart["centre"].tolist() == pytest.approx([1000 * 2 / 122] * 2)
    assert chart["signal"].isna().all()
    with pytest.raises(MeasureError, match="goes by month or by quarter, not by site"):
        rate_chart(seen, INFECTION, Grouping.SITE, Basis.LINE)
    with pytest.raises(MeasureError, match="baseline has 9 periods, but there are only 2"):
        rate_chart(seen, INFECTION, Grouping.MONTH, Basis.LINE, 9)


def test_a_funnel_has_its_limits_about_the_common_rate():
    tallies = tallies_on("2031-04-10", outcomes=OUTCOMES)
    table = group_funnel(tallies, INFECTION, Grouping.SITE, Basis.LINE, allow_for_differences=False)
    assert table["centre"].tolist() == [1000 * 2 / 80] * 2
    assert (table["lower_998"] <= table["lower_95"]).all()
    assert (table["upper_998"] >= table["upper_95"]).all()


DWELL_LINES = """
line_id | child_id | family_id | site  | placed_on  | home_from  | removed_on | removal_reason   | left_on
L1      | C1       | F1        | north | 2031-02-27 | 2031-03-01 | 2031-03-04 | occlusion        |
L2      | C2       | F2        | north | 2031-02-27 | 2031-03-01 | 2031-03-09 | therapy_complete |
L3      | C3       | F3        | north | 2031-02-27 | 2031-03-01 | 2031-03-01 | infection        |
L4      | C4       | F4        | south | 2031-02-27 | 2031-03-01 |            |                  | 2031-03-05
L5      | C5       | F5        | south | 2031-02-27 | 2031-03-01 | 2031-03-12 | death            |
L6      | C6       | F6        | south | 2031-02-27 | 2031-03-01 | 2031-03-20 | damage           |
L7      | C7       | F7        | south | 2031-03-30 | 2031-04-01 |            |                  |
"""


def test_line_times_enter_on_coming_home_and_end_by_cause():
    records = written(lines=DWELL_LINES)
    timeline = build(records, POLICY, day("2031-03-20"))
    times = line_times(timeline, records, Grouping.SITE)
    # L7 has not come home yet; the removal of L6 on the as-of day is known, L4 left with its line.
    assert times["entry_day"].tolist() == [2] * 6
    assert times["exit_day"].tolist() == [5, 10, 2, 6, 13, 21]
    assert times["cause"].tolist() == [1, 2, 1, 0, 3, 1]


def test_few_lines_have_a_summary_without_a_curve_and_a_line_without_time_is_reported():
    records = written(lines=DWELL_LINES)
    found = dwell(build(records, POLICY, day("2031-03-20")), records, Grouping.ALL)
    assert found.curves.empty
    row = found.summary.iloc[0]
    assert (row["lines"], row["without_time"], row["unplanned"], row["planned"]) == (5, 1, 2, 1)
    assert "too few for a curve" in row["reading"]


def test_the_curve_of_twelve_lines_is_that_of_the_hand():
    head = "line_id | child_id | family_id | home_from | removed_on | removal_reason\n"
    rows = [f"L{n} | C{n} | F{n} | 2031-03-01 | |" for n in range(10)]
    rows += ["LA | CA | FA | 2031-03-01 | 2031-03-11 | occlusion"]
    rows += ["LB | CB | FB | 2031-03-01 | 2031-03-21 | planned_exchange"]
    records = written(lines=head + "\n".join(rows))
    found = dwell(build(records, POLICY, day("2031-04-01")), records, Grouping.ALL)
    # Day 10: 1 of 12 removed unplanned; day 20: 1 of 11 planned.
    assert found.curves["day"].tolist() == [10, 20]
    assert found.curves["at_risk"].tolist() == [12, 11]
    assert found.curves["in_place"].tolist() == pytest.approx([11 / 12, 10 / 12])
    assert found.curves["unplanned_share"].tolist() == pytest.approx([1 / 12, 1 / 12])
    assert "8 % (95 % limits" in found.summary.iloc[0]["reading"]


def test_dwell_time_is_not_split_by_what_changes_and_compares_at_least_two_groups():
    records = written(lines=DWELL_LINES)
    timeline = build(records, POLICY, day("2031-03-20"))
    with pytest.raises(MeasureError, match="cannot be split by age_band"):
        dwell(timeline, records, Grouping.AGE_BAND)
    with pytest.raises(MeasureError, match="fewer than two groups"):
        compare_dwell(timeline, records, Grouping.ALL, unplanned_only=False)
    assert compare_dwell(timeline, records, Grouping.SITE, unplanned_only=False)["df"].item() == 1


def test_a_line_that_moves_is_seen_at_each_site_while_it_is_there():
    records = written(
        lines="""
line_id | home_from  | removed_on | removal_reason | site  | valid_from | received_at
L1      | 2031-03-01 | 2031-03-11 | occlusion      | south | 2031-03-06 | 2031-03-06
L2      | 2031-03-01 | 2031-03-06 | occlusion      | south | 2031-03-06 | 2031-03-06
L3      | 2031-03-01 |            |                | north |            | 2031-03-01
""",
        earlier_lines="""
line_id | site  | received_at | valid_from
L1      | north | 2031-03-01  |
L2      | north | 2031-03-01  |
""",
    )
    timeline = build(records, POLICY, day("2031-03-21"))

    def told(by, sites=None):
        times = line_times(timeline, records, by, sites)
        columns = ("line", "group", "entry_day", "exit_day", "cause")
        return [tuple(row) for row in times[list(columns)].itertuples(index=False, name=None)]

    # The removal on the day of the move is the new site's.
    by_site = [
        (0, "north", 0, 4, 0), (0, "south", 4, 10, 1), (1, "north", 0, 4, 0),
        (1, "south", 4, 5, 1), (2, "north", 0, 20, 0),
    ]  # fmt: skip
    assert told(Grouping.SITE) == by_site
    assert told(Grouping.ALL) == [(0, "all", 0, 10, 1), (1, "all", 0, 5, 1), (2, "all", 0, 20, 0)]
    for site in ("north", "south"):
        own = [row for row in by_site if row[1] == site]
        assert told(Grouping.SITE, [site]) == own
        assert told(Grouping.ALL, [site]) == [(row[0], "all", *row[2:]) for row in own]
    compared = compare_dwell(timeline, records, Grouping.SITE, unplanned_only=False)
    assert compared["df"].item() == 1
