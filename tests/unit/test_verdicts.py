"""Does each statistic have one verdict, worded alike on page, report, notebook and command?"""

from __future__ import annotations

import pandas as pd
import pytest

from analysis.measures.surveillance import surveillance
from analysis.reports import month
from analysis.reports.data import ReportData
from analysis.reports.prevention import prevention_report
from analysis.snapshot import Snapshot
from analysis.verdicts import (
    ChartCode,
    DifferenceCode,
    FunnelCode,
    GroupsCode,
    TrendCode,
    chart_verdict,
    funnel_verdict,
    groups_verdict,
    rate_sentence,
    ratio_verdict,
    signal_headline,
    trend_verdict,
)
from analysis.vocabulary import Copy, Grouping
from dashboard.addresses.rates import RatesChoice
from dashboard.rates.queries.rates import rates_view, understood
from tests.written import received_daily, snapshot_of, written

FIRST, LAST = pd.Timestamp("2029-12-01"), pd.Timestamp("2031-02-28")


def programme(events_by_month: dict[str, int]) -> Snapshot:
    """Thirty families that log weekly; so many rashes in each month, one a line."""
    lines = [f"L{n} | C{n} | F{n} | 2029-12-01" for n in range(30)]
    log = [
        f"L{n} | {d:%Y-%m-%d} | skin_check | none"
        for n in range(30)
        for d in pd.date_range(FIRST, LAST, freq="7D")
    ]
    for period, events in events_by_month.items():
        log += [f"L{n} | {period}-15 | skin_check | rash" for n in range(events)]
    records = written(
        lines="\n".join(["line_id | child_id | family_id | home_from", *lines]),
        home_log="\n".join(["line_id | done_at | kind | findings", *log]),
    )
    return snapshot_of(received_daily(records), "2031-03-01", "2031-02-28")


MONTHS = [f"{d:%Y-%m}" for d in pd.date_range("2029-12-01", "2031-02-01", freq="MS")]


@pytest.mark.parametrize(
    "events",
    [
        dict.fromkeys(MONTHS, 1),
        # The oldest month is older than those that a report's figure shows.
        {**dict.fromkeys(MONTHS, 1), "2029-12": 12},
        {**dict.fromkeys(MONTHS, 1), "2031-01": 12},
        {**dict.fromkeys(MONTHS, 1), "2031-02": 14},
    ],
    ids=["steady", "an old signal", "a new signal", "newest month high"],
)
def test_page_and_report_give_one_verdict_on_one_chart(events):
    seen = programme(events)
    view = rates_view(seen, understood(seen, RatesChoice()), signal_headline(surveillance(seen)))
    made = ReportData(month("2031-02"), seen, {}, None)
    said = prevention_report(made, Copy.TEAM).parts[2].answer
    assert said == view.drift


# -- charts


def chart(*signals: str | None, provisional: int = 0) -> pd.DataFrame:
    """Five months; the last `provisional` ones are so."""
    periods = [f"2031-0{n}" for n in range(1, 6)]
    known = [*signals, *[None] * (5 - len(signals))]
    return pd.DataFrame(
        {
            "period": periods,
            "signal": pd.Series(known, dtype="string"),
            "provisional": [at >= 5 - provisional for at in range(5)],
            "upper_limit": [3.0] * 5,
            "judged": [True] * 5,
        }
    )


def read(table: pd.DataFrame):
    return chart_verdict(table, Grouping.MONTH)


def test_a_chart_without_signals_shows_no_sign_of_change():
    found = read(chart())
    assert found.code is ChartCode.STEADY
    assert found.sentence == (
        "No sign of change: no month out of 5 gives a signal on the control chart."
    )


def test_an_old_signal_is_reported_as_old():
    found = read(chart("above_limit"))
    assert (found.code, found.signals) == (ChartCode.EARLIER_SIGNAL, ("2031-01",))
    assert found.sentence.startswith("No sign of change now: none of the last 3 months")
    assert found.sentence.endswith("most recently Jan 2031 (above the upper limit).")


def test_a_new_signal_is_a_possible_change():
    found = read(chart(None, None, None, "below_limit"))
    assert (found.code, found.settled) == (ChartCode.SIGNAL, 5)
    assert found.sentence == (
        "Possible change: 1 of 5 months gives a signal on the control chart, most recently "
        "Apr 2031 (below the lower limit)."
    )


def test_a_provisional_month_is_not_taken_for_a_low_one():
    found = read(chart(None, None, None, None, "below_limit", provisional=1))
    assert (found.code, found.provisional) == (ChartCode.STEADY, ("2031-05",))
    assert found.sentence.endswith("May 2031 is still provisional.")


def test_a_provisional_month_above_the_limit_is_reported_at_once():
    found = read(chart(None, None, None, None, "above_limit", provisional=1))
    assert (found.code, found.provisional_signals) == (
        ChartCode.PROVISIONAL_SIGNAL,
        ("2031-05",),
    )
    assert found.sentence.startswith("Possible change: May 2031 is above the upper limit already")


def test_a_chart_that_is_all_provisional_says_that_it_is_too_early():
    found = read(chart(provisional=5))
    assert found.code is ChartCode.ALL_PROVISIONAL
    assert found.sentence == "Too early to say: every month is still provisional."


def test_months_with_too_few_logged_days_are_counted_and_not_judged():
    found = read(chart("above_limit").assign(judged=[False, *[True] * 4]))
    assert (found.code, found.settled, found.not_judged) == (ChartCode.STEADY, 4, ("2031-01",))
    assert found.sentence.endswith("1 month is not judged: too few days are logged.")
    assert read(chart().assign(judged=False)).code is ChartCode.NOT_JUDGED


def test_a_chart_without_events_or_periods_is_not_called_steady():
    assert read(chart().assign(upper_limit=float("nan"))).code is ChartCode.NO_LIMITS
    assert read(chart().iloc[:0]).code is ChartCode.NO_PERIODS


# -- trends


@pytest.mark.parametrize(
    ("ratio", "code", "starts"),
    [
        ((1.02, 0.99, 1.05), TrendCode.NO_CLEAR_TREND, "No clear trend"),
        ((1.05, 1.01, 1.09), TrendCode.RISING, "Rising"),
        ((0.95, 0.91, 0.99), TrendCode.FALLING, "Falling"),
        ((1.05, float("nan"), float("nan")), TrendCode.TOO_FEW_FAMILIES, "No trend to show"),
        ((float("nan"),) * 3, TrendCode.NO_EVENTS, "No trend to show"),
    ],
)
def test_a_trend_is_clear_only_when_its_limits_leave_out_no_change(ratio, code, starts):
    found = trend_verdict(
        pd.DataFrame([ratio], columns=["ratio_per_period", "lower", "upper"]).assign(
            season_adjusted=False
        ),
        Grouping.MONTH,
    )
    assert found.code is code
    assert found.sentence.startswith(starts)


# -- comparisons


def ratios(alone: tuple[float, ...], clustered: tuple[float, ...]) -> pd.DataFrame:
    return pd.DataFrame([alone, clustered], columns=["ratio", "lower", "upper", "p"])


NONE = (float("nan"),) * 4


@pytest.mark.parametrize(
    ("clustered", "code", "starts"),
    [
        ((2.0, 1.2, 3.4, 0.01), DifferenceCode.HIGHER, "North is higher by more than chance:"),
        ((2.0, 0.8, 5.0, 0.14), DifferenceCode.NO_CLEAR_DIFFERENCE, "No clear difference:"),
        ((0.5, 0.3, 0.8, 0.01), DifferenceCode.LOWER, "North is lower by more than chance:"),
    ],
)
def test_a_comparison_is_read_from_the_row_adjusted_for_families(clustered, code, starts):
    found = ratio_verdict(ratios((2.0, 1.5, 2.7, 0.001), clustered), ("north", "south"))
    assert (found.code, found.adjusted) == (code, True)
    assert found.sentence.startswith(starts)
    assert f"north has {clustered[0]:.2f} times the rate of south" in found.sentence
    assert "adjusted for repeat events in a family" in found.sentence


def test_with_too_few_families_the_plain_row_is_read_and_that_is_said():
    found = ratio_verdict(ratios((2.0, 0.4, 9.9, 0.4), NONE), ("north", "south"))
    assert (found.code, found.adjusted) == (DifferenceCode.TOO_FEW_FAMILIES, False)
    assert "each event taken as independent" in found.sentence
    assert found.sentence.startswith("Too few families have an event to compare")
    # Limits of independent events that leave out 1 do not make a difference of it.
    apart = ratio_verdict(ratios((4.0, 1.4, 9.9, 0.01), NONE), ("north", "south"))
    assert apart.code is DifferenceCode.TOO_FEW_FAMILIES


def test_a_ratio_over_no_event_has_no_value_but_limits():
    table = ratios((float("inf"), 0.9, float("inf"), 0.06), NONE)
    found = ratio_verdict(table, ("north", "south"))
    assert "south has no events, so the ratio has no value" in found.sentence
    assert "0.90 and more" in found.sentence


def test_two_groups_without_an_event_have_nothing_to_compare():
    found = ratio_verdict(ratios(NONE, NONE), ("north", "south"))
    assert found.code is DifferenceCode.NO_EVENTS
    assert found.sentence == "Nothing to compare: neither north nor south has an event."


def test_sites_outside_are_named_in_their_order_and_not_ranked():
    funnel = pd.DataFrame(
        {
            "group": ["A", "B", "C"],
            "line_days": [100] * 3,
            "judged_days": [100] * 3,
            "judged": [True] * 3,
            "judged_rate_per_1000": [9.0, 2.0, 20.0],
            "lower_95": [1.0] * 3,
            "upper_95": [8.0] * 3,
            "lower_998": [0.0] * 3,
            "upper_998": [11.0] * 3,
        }
    )
    found = funnel_verdict(funnel, Grouping.SITE)
    assert (found.code, found.outside_998, found.outside_95) == (
        FunnelCode.OUTSIDE_998,
        ("C",),
        ("A",),
    )
    # 1 - 0.95 ** 3 and 1 - 0.998 ** 3.
    assert found.sentence == (
        "C is outside the 99.8 % limits; A is outside the 95 % limits around the rate of all "
        "sites. If all 3 sites were alike, the chance that at least one is outside is up to 14 % "
        "for the 95 % limits and up to 1 % for the 99.8 % limits."
    )
    assert funnel_verdict(funnel.iloc[:1], Grouping.SITE).code is FunnelCode.TOO_FEW_GROUPS
    silent = funnel_verdict(funnel.assign(judged=[True, True, False]), Grouping.SITE)
    assert silent.outside_998 == ()
    assert silent.sentence.endswith("C is not judged: too few days are logged.")


def test_a_table_by_group_says_whether_limits_overlap_and_who_has_no_events():
    table = pd.DataFrame(
        {"events": [0, 9], "line_days": [100, 100], "lower": [0.0, 41.2], "upper": [36.9, 170.8]}
    )
    found = groups_verdict(table, Grouping.SITE)
    assert (found.code, found.without_events) == (GroupsCode.LIMITS_APART, 1)
    assert "1 group has no events" in found.sentence
    alike = groups_verdict(table.assign(lower=[0.0, 30.0]), Grouping.SITE)
    assert alike.code is GroupsCode.LIMITS_OVERLAP
    assert "no clear difference between sites" in alike.sentence
    assert groups_verdict(table.iloc[:1], Grouping.SITE).code is GroupsCode.TOO_FEW_GROUPS


def test_no_line_days_give_no_rate_and_not_zero():
    assert (
        rate_sentence({"events": 0, "line_days": 0}) == "no events and no home line-days: no rate"
    )
