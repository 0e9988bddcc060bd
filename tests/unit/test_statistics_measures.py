"""Trends, standardised ratios, shrunk rates, late reports and logging bias, redone by hand."""

import pandas as pd
import pytest

from analysis.measures.completeness import provisional_rates
from analysis.measures.counts import MeasureError
from analysis.measures.family_rates import family_rates
from analysis.measures.late_reports import lateness
from analysis.measures.logging_bias import logging_bias
from analysis.measures.overdue_hazard import overdue_hazard
from analysis.measures.rates import rates
from analysis.measures.release import for_release
from analysis.measures.skin_course import skin_course
from analysis.measures.trends import standardised, trend, trend_ratio
from analysis.policy import shipped_policy
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import Basis, Grouping, Limits
from tests.written import day, snapshot_of, written

POLICY = shipped_policy()


def seen(as_of, **tables):
    records = written(**tables)
    timeline = build(records, POLICY, day(as_of))
    return records, timeline, tally(timeline, POLICY)


def many_lines(n, **columns):
    head = ["line_id", "child_id", "family_id", "home_from", *columns]
    rows = [
        [f"L{i}", f"C{i}", f"F{i}", "2031-03-01", *(values[i] for values in columns.values())]
        for i in range(n)
    ]
    return "\n".join(" | ".join(row) for row in [head, *rows])


def rash(*line_days, logging=0):
    """Rashes, and weekly entries without a finding of so many lines in March and April."""
    rows = [f"{line} | {on} | skin_check | rash" for line, on in line_days]
    for n in range(logging):
        weeks = pd.date_range("2031-03-01", "2031-04-30", freq="7D")
        rows += [f"L{n} | {d:%Y-%m-%d} | skin_check | none" for d in weeks]
    return "\n".join(["line_id | done_at | kind | findings", *rows])


def test_the_trend_of_two_months_is_the_ratio_of_their_rates():
    # 8 lines: March has 31 x 8 line-days and 6 events, April (to the 30th) 30 x 8 and 3.
    entries = [(f"L{i}", "2031-03-10") for i in range(6)] + [
        (f"L{i}", "2031-04-10") for i in range(3)
    ]
    _, _, tallies = seen("2031-05-01", lines=many_lines(8), home_log=rash(*entries, logging=8))
    row = trend(tallies, "skin", Grouping.MONTH, Basis.LINE).iloc[0]
    assert (row["periods"], row["events"], row["families"]) == (2, 9, 8)
    assert row["ratio_per_period"] == pytest.approx((3 / 240) / (6 / 248))
    ratio = trend_ratio(tallies, "skin", Grouping.MONTH, Basis.LINE).iloc[0]
    assert row.drop(["dispersion", "dispersion_p"]).equals(ratio)


def test_a_trend_without_events_has_no_ratio_and_one_by_site_is_refused():
    _, _, tallies = seen("2031-05-01", lines=many_lines(3), home_log=rash())
    assert pd.isna(trend(tallies, "skin", Grouping.MONTH, Basis.LINE)["ratio_per_period"]).all()
    with pytest.raises(MeasureError, match="by month or by quarter, not by site"):
        trend(tallies, "skin", Grouping.SITE, Basis.LINE)


def test_standardising_adjusts_for_the_mix_of_line_types():
    # North: 3 PICCs, 1 tunneled; south: 1 PICC, 3 tunneled; 40 days each, all heard. PICCs have
    # two events each, tunneled lines none: by the rates of the other site north would have had
    # 120 x 2/40 = 6, south 40 x 6/120 = 2, as they had.
    site = ["north"] * 4 + ["south"] * 4
    kind = ["picc"] * 3 + ["tunneled_cvc"] * 4 + ["picc"]
    on = ["2031-03-03", "2031-03-23"]
    entries = [(f"L{i}", d) for i in (0, 1, 2) for d in on] + [("L7", d) for d in on]
    lines = many_lines(8, site=site, line_type=kind)
    _, _, tallies = seen("2031-04-10", lines=lines, home_log=rash(*entries, logging=8))
    table = standardised(tallies, "skin", Grouping.SITE, (Grouping.LINE_TYPE,), Basis.LINE)
    assert table["events"].tolist() == [6, 2]
    assert table["expected"].tolist() == pytest.approx([6, 2])
    assert table["ratio"].tolist() == pytest.approx([1, 1])
    with pytest.raises(MeasureError, match="other groupings than the groups"):
        standardised(tallies, "skin", Grouping.SITE, (Grouping.SITE,), Basis.LINE)


def test_a_group_is_not_in_the_reference_it_is_compared_with():
    # North has twice the rate of south at the same line-days: 2, not 1.33 of both together.
    entries = [(f"L{i}", "2031-03-03") for i in range(4)] + [("L4", "2031-03-03")] * 1
    entries += [("L5", "2031-03-03")]
    lines = many_lines(8, site=["north"] * 4 + ["south"] * 4)
    _, _, tallies = seen("2031-04-10", lines=lines, home_log=rash(*entries, logging=8))
    table = standardised(tallies, "skin", Grouping.SITE, (Grouping.LINE_TYPE,), Basis.LINE)
    assert table["events"].tolist() == [4, 2]
    assert table["ratio"].tolist() == pytest.approx([2, 0.5])


def test_one_bad_week_does_not_make_a_bad_family():
    entries = [(f"L{i}", "2031-03-10") for i in range(5)] + [("L0", "2031-03-20")]
    _, _, tallies = seen("2031-04-10", lines=many_lines(10), home_log=rash(*entries, logging=10))
    table = family_rates(tallies, "skin", Basis.LINE).set_index("family_id")
    assert table.index[0] == "F0"
    assert table.loc["F0", "rate_per_1000"] == 1000 * 2 / 40
    assert 15 < table.loc["F0", "shrunk_rate_per_1000"] < 50
    assert table.loc["F9", "shrunk_rate_per_1000"] > 0
    assert table.loc["F0", "limit_per_1000"] == pytest.approx(2 * 15)
    assert table["prob_above"].max() < 0.6


def test_without_events_or_families_nobody_stands_out():
    _, _, tallies = seen("2031-04-10", lines=many_lines(2), home_log=rash(logging=2))
    assert family_rates(tallies, "skin", Basis.LINE)["prob_above"].tolist() == [0, 0]
    _, _, tallies = seen("2031-04-10", lines="line_id | home_from | family_id\n")
    assert family_rates(tallies, "skin", Basis.LINE).empty


def test_the_mean_number_of_skin_events_is_summed_over_lines_at_home():
    # Day 10 (the day of placement is day 1): 1 event in 4 lines; day 21: 1 event in 3 lines.
    lines = (
        "line_id | child_id | family_id | home_from | removed_on | removal_reason\n"
        + "\n".join(
            f"L{i} | C{i} | F{i} | 2031-03-01 | {'2031-03-15 | occlusion' if i == 3 else '|'}"
            for i in range(4)
        )
    )
    _, timeline, _ = seen(
        "2031-04-10", lines=lines, home_log=rash(("L0", "2031-03-10"), ("L1", "2031-03-21"))
    )
    course = skin_course(timeline)
    assert course["day"].tolist() == [10, 21]
    assert course["at_risk"].tolist() == [4, 3]
    assert course["mean_count"].tolist() == pytest.approx([1 / 4, 1 / 4 + 1 / 3])


def test_an_event_on_the_day_a_spell_ends_counts_on_its_last_day():
    lines = (
        "line_id | home_from | removed_on | removal_reason\nL1 | 2031-03-01 | 2031-03-05 | damage"
    )
    _, timeline, _ = seen("2031-04-10", lines=lines, home_log=rash(("L1", "2031-03-05")))
    assert skin_course(timeline)["day"].tolist() == [4]
    _, timeline, _ = seen("2031-04-10", lines="line_id | home_from | family_id\n")
    assert skin_course(timeline).empty


def test_without_an_unplanned_removal_no_hazard_is_told():
    records, timeline, _ = seen("2031-04-10", lines=many_lines(3))
    row = overdue_hazard(timeline, records).iloc[0]
    assert (row["lines"], row["unplanned"]) == (3, 0)
    assert pd.isna(row["hazard_ratio"])
    assert row["reading"] == "No line ended unplanned: a hazard ratio needs at least 10."


INGESTS = pd.DataFrame(
    {"table": ["home_log"] * 2, "last_row": [20, 40], "source": ["", "slow form"]}
)


def log_received(rows):
    text = ["line_id | done_at | kind | received_at"]
    text += [f"L1 | {done} | note | {came}T12:00" for done, came in rows]
    return "\n".join(text)


ONE_LINE = "line_id | home_from\nL1 | 2031-01-01"


def test_late_reports_of_a_source_are_expected_still_to_come():
    # The slow form: every entry comes ten days after its day. In the last week none can be in.
    done = pd.date_range("2031-01-01", "2031-03-31", freq="D")
    quick = [(f"{d:%Y-%m-%d}", f"{d:%Y-%m-%d}") for d in done[::5]]
    slow = [(f"{d:%Y-%m-%d}", f"{d + pd.Timedelta(days=10):%Y-%m-%d}") for d in done[::5]]
    slow = [row for row in slow if row[1] <= "2031-03-31"]
    ingests = INGESTS.assign(last_row=[len(quick), len(quick) + len(slow)])
    records = written(lines=ONE_LINE, home_log=log_received(quick + slow))
    found = lateness(records, ingests, POLICY, day("2031-03-31"))
    last = found.weeks.groupby("source", dropna=False).tail(1).set_index("source")
    assert last.loc["slow form", "entries"] == 0
    assert last.loc["slow form", "completeness"] == 0
    assert bool(last.loc["slow form", "provisional"])
    quick_rows = found.weeks[found.weeks["source"].isna()]
    assert (quick_rows["completeness"] == 1).all()
    assert not quick_rows["provisional"].any()
    change = found.change.set_index("source")
    assert change.loc["slow form", "median_delay_days"] == 10


def test_delays_that_grow_are_noticed():
    done = pd.date_range("2030-10-05", "2031-03-31", freq="D")
    rows = [(d, d + pd.Timedelta(days=1 if d < pd.Timestamp("2031-01-15") else 6)) for d in done]
    rows = [(f"{a:%Y-%m-%d}", f"{b:%Y-%m-%d}") for a, b in rows if b <= pd.Timestamp("2031-03-31")]
    ingests = INGESTS.assign(last_row=[len(rows), len(rows)])
    records = written(lines="line_id | home_from\nL1 | 2030-10-01", home_log=log_received(rows))
    change = lateness(records, ingests, POLICY, day("2031-03-31")).change.iloc[0]
    assert change["z"] > 0
    assert change["p"] < 0.001


def test_nothing_received_gives_no_week_and_no_completeness():
    records, _, _ = seen("2031-03-31", lines=ONE_LINE)
    none = lateness(records, INGESTS, POLICY, day("2031-03-31"))
    assert none.weeks.empty
    assert none.change.empty
    seen_then = snapshot_of(records, "2031-03-31", "2031-03-31")
    table = provisional_rates(seen_then, "skin", Grouping.MONTH, Basis.LINE)
    # January is older than the longest delay; of none is it known how complete it is.
    assert table["provisional"].tolist() == [False, True, True]
    assert table["data_status"].tolist() == ["not_known", "not_known", "not_over"]


def test_a_recent_month_is_raised_by_what_is_still_to_come():
    done = pd.date_range("2031-01-01", "2031-03-31", freq="D")
    rows = [(d, d + pd.Timedelta(days=(i % 2) * 20)) for i, d in enumerate(done)]
    rows = [(f"{a:%Y-%m-%d}", f"{b:%Y-%m-%d}") for a, b in rows if b <= pd.Timestamp("2031-03-31")]
    text = log_received(rows).replace("received_at\n", "received_at | findings\n")
    text = text.replace("T12:00", "T12:00 |") + "\nL1 | 2031-03-30 | note | 2031-03-30T12:00 | rash"
    records = written(lines=ONE_LINE, home_log=text)
    seen_then = snapshot_of(records, "2031-03-31", "2031-03-31")
    table = provisional_rates(seen_then, "skin", Grouping.MONTH, Basis.LINE).set_index("group")
    # Half of the entries take twenty days: the first ten days of March are complete, the rest
    # about half: (11 + 19 / 2) / 30 or so.
    assert table.loc["2031-03", "completeness"] == pytest.approx(20.5 / 30, abs=0.03)
    assert table.loc["2031-03", "expected_events"] == pytest.approx(30 / 20.5, abs=0.07)
    assert table["provisional"].tolist() == [False, False, True]
    low, high = table.loc["2031-03", ["expected_lower", "expected_upper"]]
    assert low <= table.loc["2031-03", "expected_rate_per_1000"] <= high


def test_logging_bias_sets_well_logging_families_apart_and_bounds_what_silence_hides():
    # F0 logs weekly; F1 once, on 1 March, and is silent from 10 March: 31 line-days of 40.
    lines = many_lines(2)
    weekly = [f"L0 | 2031-03-{d:02d} | note |" for d in (1, 8, 15, 22, 29)]
    weekly += ["L0 | 2031-04-05 | skin_check | rash", "L1 | 2031-03-01 | skin_check | rash"]
    entries = "\n".join(["line_id | done_at | kind | findings", *weekly])
    _, _, tallies = seen("2031-04-10", lines=lines, home_log=entries)
    row = logging_bias(tallies, "skin", Grouping.ALL, episode_gap_days=7).iloc[0]
    assert (row["events"], row["line_days"]) == (2, 80)
    assert (row["well_logged_events"], row["well_logged_days"]) == (1, 40)
    assert row["log_coverage"] == pytest.approx(49 / 80)
    # 22 silent days in March and 9 in April: at most ceil(22 / 8) + ceil(9 / 8) = 5 events.
    assert row["hidden_at_most"] == 5
    assert row["rate_at_most"] == pytest.approx(1000 * 7 / 80)
    with pytest.raises(MeasureError, match="confirmed by the clinic"):
        logging_bias(tallies, "bloodstream_infection", Grouping.ALL, 7)


def test_small_counts_and_what_would_give_them_away_are_hidden_for_release():
    site = ["north"] * 14 + ["south"] * 12 + ["west"] * 4
    entries = [(f"L{i}", "2031-03-10") for i in range(30) if i < 27]
    _, _, tallies = seen("2031-04-10", lines=many_lines(30, site=site), home_log=rash(*entries))
    released = for_release(rates(tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT))
    # 14, 12 and 1: the 1 is hidden, and the 12 with it, since 27 - 14 - 12 would tell.
    assert released["hidden"].tolist() == [False, True, True]
    assert released["events"].fillna(-1).tolist() == [14, -1, -1]
    assert released["rate_per_1000"].notna().tolist() == [True, False, False]


def test_a_family_or_site_that_hardly_logs_is_no_part_of_what_others_are_compared_with():
    # F0 to F7 log weekly; F8 and F9, at a site of their own, logged one rash and then nothing.
    entries = [(f"L{i}", "2031-03-10") for i in range(10)] + [("L0", "2031-03-25")]
    site = ["north"] * 4 + ["south"] * 4 + ["west"] * 2
    lines = many_lines(10, site=site)
    _, _, tallies = seen("2031-04-20", lines=lines, home_log=rash(*entries, logging=8))
    table = family_rates(tallies, "skin", Basis.LINE).set_index("family_id")
    silent = table.loc[["F8", "F9"]]
    assert silent["prob_above"].isna().all()
    assert silent["shrunk_rate_per_1000"].isna().all()
    assert table.loc["F0", "limit_per_1000"] == pytest.approx(2 * 1000 * 9 / (8 * 50), rel=0.01)
    ratio = standardised(tallies, "skin", Grouping.SITE, (Grouping.LINE_TYPE,), Basis.LINE)
    ratio = ratio.set_index("group")
    # Each of north and south is compared with the other alone: 5 of 4, and 4 of 5.
    assert ratio.loc["north", "expected"] == pytest.approx(4, rel=0.01)
    assert ratio.loc["south", "expected"] == pytest.approx(5, rel=0.01)
    assert ratio.loc["west", ["ratio", "lower", "p"]].isna().all()
    assert ratio.loc["west", "events"] == 2
