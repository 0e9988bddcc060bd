"""Are rates judged on heard line-days, and are periods complete by the event's own delay?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.measures import completeness
from analysis.measures.charts import rate_chart
from analysis.measures.comparison import compare
from analysis.measures.completeness import DataStatus, provisional_rates, settled_tallies
from analysis.measures.counts import MeasureError, counts
from analysis.measures.funnels import group_funnel
from analysis.measures.trends import trend
from analysis.vocabulary import Basis, Grouping, Limits
from tests.written import received_daily, snapshot_of, written

INFECTION = "exit_site_infection"


def lines_of(count: int, home_from: str = "2030-01-01", site: str = "north") -> str:
    rows = [f"L{n} | C{n} | F{n} | {site} | {home_from}" for n in range(count)]
    return "\n".join(["line_id | child_id | family_id | site | home_from", *rows])


def weekly(count: int, start: str, end: str, findings: str = "none") -> list[str]:
    days = pd.date_range(start, end, freq="7D")
    return [f"L{n} | {d:%Y-%m-%d} | skin_check | {findings}" for n in range(count) for d in days]


def log_of(rows: list[str]) -> str:
    return "\n".join(["line_id | done_at | kind | findings", *rows])


def outcomes_of(rows: list[tuple[int, str, str]]) -> str:
    """Line, onset and receipt of infections."""
    text = [f"C{n} | L{n} | {INFECTION} | {on} | {came}T12:00" for n, on, came in rows]
    return "\n".join(["child_id | line_id | outcome | onset_on | received_at", *text])


# -- heard line-days


def test_a_year_without_logs_is_shown_and_not_judged():
    # Ten families log weekly in 2031 and not at all in 2030.
    rash = [f"L{n} | 2031-0{m}-05 | skin_check | rash" for n in range(3) for m in range(1, 7)]
    records = written(
        lines=lines_of(10), home_log=log_of(weekly(10, "2031-01-01", "2031-06-30") + rash)
    )
    seen = snapshot_of(received_daily(records), "2031-07-01", "2031-09-30")
    chart = rate_chart(seen, "skin", Grouping.MONTH, Basis.LINE).set_index("period")
    silent, heard = chart.loc["2030-02":"2030-12"], chart.loc["2031-01":]
    assert (silent["events"] == 0).all()
    assert not silent["judged"].any()
    assert not silent["in_baseline"].any()
    assert heard["judged"].all()
    # The centre is that of the heard months alone: 18 events in 10 lines x 181 days.
    assert chart["centre"].iloc[0] == pytest.approx(1000 * 18 / 1810)
    # The start of logging is no alarm.
    assert chart["signal"].isna().all()
    # The rate over all days stands beside the one that is judged.
    assert chart.loc["2031-03", "rate_per_1000"] == pytest.approx(1000 * 3 / 310)


def test_events_of_logs_are_judged_on_heard_days_and_confirmed_ones_on_all():
    # Both families are at home for 60 days; F1 logs weekly, F0 on the first day only.
    rows = ["L0 | 2030-01-01 | skin_check | none", *weekly(2, "2030-01-01", "2030-03-01")[9:]]
    records = written(
        lines=lines_of(2),
        home_log=log_of(rows),
        outcomes=outcomes_of([(0, "2030-02-01", "2030-02-03")]),
    )
    tallies = snapshot_of(records, "2030-03-02", "2030-12-31").tallies
    skin = counts(tallies, "skin", Grouping.FAMILY, Basis.LINE).set_index("group")
    # Heard from 1 January to the eighth day after it.
    assert skin.loc["F0", ["line_days", "judged_days"]].tolist() == [60, 9]
    assert skin.loc["F1", ["line_days", "judged_days"]].tolist() == [60, 60]
    assert skin.loc["F0", "log_coverage"] == pytest.approx(9 / 60)
    confirmed = counts(tallies, INFECTION, Grouping.FAMILY, Basis.LINE)
    assert (confirmed["judged_days"] == confirmed["line_days"]).all()


def test_heard_days_of_a_child_with_two_lines_count_once():
    lines = "line_id | home_from\nL1 | 2030-01-01\nL2 | 2030-01-01"
    records = written(
        lines=lines, home_log="line_id | done_at | kind\nL1 | 2030-01-01 | skin_check"
    )
    tallies = snapshot_of(records, "2030-02-01", "2030-12-31").tallies
    per_child = counts(tallies, "skin", Grouping.ALL, Basis.CHILD).iloc[0]
    assert per_child[["line_days", "judged_days"]].tolist() == [31, 9]
    per_line = counts(tallies, "skin", Grouping.ALL, Basis.LINE).iloc[0]
    assert per_line[["line_days", "judged_days"]].tolist() == [62, 18]


def test_a_group_with_too_low_a_log_coverage_is_neither_compared_nor_in_the_centre():
    north, south = lines_of(4), lines_of(8, site="south").splitlines()[5:]
    log = [*weekly(4, "2030-01-01", "2030-06-30"), "L0 | 2030-03-01 | skin_check | rash"]
    records = written(lines="\n".join([north, *south]), home_log=log_of(log))
    tallies = snapshot_of(records, "2030-07-01", "2031-07-01").tallies
    with pytest.raises(MeasureError, match="south is not compared: the log covers 5 %"):
        compare(tallies, "skin", Grouping.SITE, Basis.LINE, Limits.EXACT)
    funnel = group_funnel(tallies, "skin", Grouping.SITE, Basis.LINE).set_index("group")
    assert funnel.loc["south", "upper_998":"upper_998"].isna().all()
    assert funnel.loc["north", "centre"] == pytest.approx(1000 / (4 * 181))


# -- completeness by the event's own delay


def test_infections_confirmed_late_are_provisional_although_the_log_is_complete():
    # Logs come daily; each month of 2030 has two infections, known 45 days later.
    onsets = [(n, f"2030-{m:02}-{d}") for m in range(1, 13) for n, d in ((m % 9, 10), (9, 20))]
    rows = [(n, on, f"{pd.Timestamp(on) + pd.Timedelta(days=45):%Y-%m-%d}") for n, on in onsets]
    rows = [row for row in rows if row[2] <= "2030-12-31"]
    records = written(
        lines=lines_of(10),
        home_log=log_of(weekly(10, "2030-01-01", "2030-12-30")),
        outcomes=outcomes_of(rows),
    )
    seen = snapshot_of(received_daily(records), "2031-01-01", "2030-12-31")
    skin = provisional_rates(seen, "skin", Grouping.MONTH, Basis.LINE).set_index("group")
    assert skin.loc["2030-11", "data_status"] == DataStatus.COMPLETE
    late = provisional_rates(seen, INFECTION, Grouping.MONTH, Basis.LINE).set_index("group")
    assert late.loc["2030-12", "events"] == 0
    assert late.loc["2030-12", "data_status"] == DataStatus.PROVISIONAL
    assert late.loc["2030-11", "provisional"]
    assert late.loc["2030-06", "data_status"] == DataStatus.COMPLETE
    # Nothing of December can be known yet, so nothing is expected from nothing.
    assert pd.isna(late.loc["2030-12", "expected_rate_per_1000"])
    assert not np.isinf(late.select_dtypes("float")).any(axis=None)


def test_a_delay_that_is_not_known_never_makes_a_period_complete():
    records = written(
        lines=lines_of(3),
        home_log=log_of(weekly(3, "2030-01-01", "2030-12-30")),
        outcomes=outcomes_of([(0, "2030-03-01", "2030-03-02")]),
    )
    seen = snapshot_of(received_daily(records), "2031-01-01", "2030-12-31")
    table = provisional_rates(seen, INFECTION, Grouping.MONTH, Basis.LINE)
    assert set(table["data_status"]) == {DataStatus.NOT_KNOWN}
    assert table["completeness"].isna().all()
    # The last half year may still change, what is older hardly.
    assert table.set_index("group")["provisional"].loc["2030-06":].sum() == 6


def test_a_history_loaded_on_one_day_is_no_reporting_delay():
    entries = log_of(weekly(10, "2029-01-01", "2030-12-30"))
    records = written(lines=lines_of(10, "2029-01-01"), home_log=entries)
    log = records.home_log.assign(received_at=pd.Timestamp("2030-12-31T09:00"))
    loaded = type(records)(**{**vars(records), "home_log": log})
    table = provisional_rates(
        snapshot_of(loaded, "2031-01-01", "2030-12-31"), "skin", Grouping.MONTH, Basis.LINE
    )
    assert table["completeness"].isna().all()
    assert not table.loc[table["group"] < "2030-11", "provisional"].any()
    assert not np.isinf(table.select_dtypes("float")).any(axis=None)
    # Daily reports after the load show the delay, and the history is then settled.
    later = written(
        lines=lines_of(10, "2029-01-01"),
        home_log=entries + "\n" + "\n".join(weekly(10, "2031-01-01", "2031-02-27")),
    )
    log = received_daily(later).home_log
    log = log.assign(received_at=log["received_at"].clip(lower=pd.Timestamp("2030-12-31T09:00")))
    later = type(later)(**{**vars(later), "home_log": log})
    table = provisional_rates(
        snapshot_of(later, "2031-03-01", "2031-02-28"), "skin", Grouping.MONTH, Basis.LINE
    ).set_index("group")
    assert table.loc["2030-12", "completeness"] == pytest.approx(1.0)
    assert not table["provisional"].any()


def test_provisional_months_are_in_no_centre_and_no_trend():
    # Each of twelve children has an infection a month, known 60 days later: the last months
    # look empty.
    rows = [
        (n, f"{d:%Y-%m}-{10 + n}", f"{d + pd.Timedelta(days=69 + n):%Y-%m-%d}")
        for n in range(12)
        for d in pd.date_range("2030-01-01", "2030-12-01", freq="MS")
    ]
    rows = [row for row in rows if row[2] <= "2030-12-31"]
    records = written(
        lines=lines_of(12),
        home_log=log_of(weekly(12, "2030-01-01", "2030-12-30")),
        outcomes=outcomes_of(rows),
    )
    seen = snapshot_of(records, "2031-01-01", "2030-12-31")
    chart = rate_chart(seen, INFECTION, Grouping.MONTH, Basis.LINE).set_index("period")
    assert chart.loc["2030-11":, "provisional"].all()
    assert not chart.loc[chart["provisional"], "in_baseline"].any()
    assert chart.loc["2030-05", "centre"] == pytest.approx(
        chart.loc[~chart["provisional"], "rate_per_1000"].mean(), rel=0.02
    )
    settled = settled_tallies(seen, INFECTION)
    unsettled = trend(seen.tallies, INFECTION, Grouping.MONTH, Basis.LINE).iloc[0]
    assert unsettled["upper"] < 1
    found = trend(settled, INFECTION, Grouping.MONTH, Basis.LINE).iloc[0]
    assert found["lower"] <= 1 <= found["upper"]


def test_delays_are_read_from_the_log_once_for_all_measures(monkeypatch):
    records = written(lines=lines_of(4), home_log=log_of(weekly(4, "2031-01-01", "2031-06-30")))
    seen = snapshot_of(received_daily(records), "2031-07-01", "2031-09-30")
    read, triangle = [], completeness._triangle
    monkeypatch.setattr(
        completeness, "_triangle", lambda *asked: read.append(asked) or triangle(*asked)
    )
    first = provisional_rates(seen, "skin", Grouping.MONTH, Basis.LINE)
    first["events"] = -1
    again = provisional_rates(seen, "skin", Grouping.MONTH, Basis.LINE)
    assert (again["events"] == 0).all()
    provisional_rates(seen, "skin", Grouping.QUARTER, Basis.CHILD)
    rate_chart(seen, "redness", Grouping.MONTH, Basis.LINE)
    settled_tallies(seen, "skin")
    assert len(read) == 1
