"""Is a rise found, placed and sized, and is a steady programme left in peace?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.decisions.signal_work import signals_line
from analysis.measures.charts import rate_chart
from analysis.measures.coverage import heard_days
from analysis.measures.surveillance import SignalCode, surveillance
from analysis.reports import month
from analysis.reports.data import ReportData
from analysis.reports.educator import educator_report
from analysis.reports.prevention import prevention_report
from analysis.tallies.steps import step_days, step_events, step_places
from analysis.verdicts import chart_verdict, signal_headline, signals_table
from analysis.verdicts.surveillance import signal_verdict
from analysis.vocabulary import Basis, Copy, Grouping, Task
from dashboard.addresses.rates import RatesChoice
from dashboard.rates.queries.rates import rates_view, understood
from tests.surveyed import ALL_STEADY, DOUBLED, MONTHS, ONE_DOUBLED, SITES, STEADY, two_years


@pytest.fixture(name="doubled", scope="module")
def _doubled():
    return two_years(ONE_DOUBLED)


@pytest.fixture(name="steady", scope="module")
def _steady():
    return two_years(ALL_STEADY)


def test_a_site_that_doubled_is_named_although_the_programme_s_chart_shows_nothing(doubled):
    chart = rate_chart(doubled, "skin", Grouping.MONTH, Basis.LINE)
    assert chart_verdict(chart, Grouping.MONTH).sentence.startswith("No sign of change")
    headline = signal_headline(surveillance(doubled))
    assert headline.code is SignalCode.RISEN
    assert headline.sentence.startswith("Skin events at south have risen to about ")
    assert {v.rate.site for v in headline.signals} <= {"south", "all"}
    rise = headline.signals[0].rate.rise
    assert rise.earliest <= DOUBLED[0] <= rise.latest
    assert rise.since in MONTHS[15:18]
    assert rise.lower <= 2 <= rise.upper
    assert rise.lower > 1


def test_a_steady_programme_has_no_signal_and_says_which_baseline_it_was_compared_with(steady):
    headline = signal_headline(surveillance(steady))
    assert headline.code is SignalCode.STEADY
    assert not headline.signals
    assert "false signal in 3 years" in headline.caution
    south = next(v for v in headline.verdicts if v.rate.site == "south" and v.rate.event == "skin")
    assert south.sentence == (
        "No sign of a rise in skin events at south: 36 since the baseline, 36 in it "
        "(Mar 2029 to Feb 2030)."
    )


def test_the_same_programme_gives_the_same_threshold_and_another_event_order_does_not_matter(
    doubled,
):
    first, again = surveillance(doubled), surveillance(replace(doubled))
    assert first.threshold.value == again.threshold.value
    assert first.rates == again.rates


def test_the_table_has_signals_first_and_one_row_an_event_and_site(doubled):
    table = signals_table(signal_headline(surveillance(doubled)), {})
    assert table.loc[0, ["event", "site", "state"]].tolist() == ["skin", "south", "new"]
    assert len(table) == len(set(zip(table["event"], table["site"], strict=True)))
    assert table["since"].notna().equals(table["rule"].notna())
    assert table["ratio"].notna().equals(table["rule"].notna())
    assert set(table["site"]) == {*SITES, "all"}


def test_where_nothing_happens_there_are_too_few_events_to_say(steady):
    found = surveillance(steady)
    infection = found.of("bloodstream_infection", "north")
    assert infection.code is SignalCode.TOO_FEW_EVENTS
    assert infection.last_event_on is None
    # 16 lines for 730 days without an infection: -ln(0.025) = 3.6889 over 11,680 days.
    assert infection.rate_upper == pytest.approx(1000 * 3.688879 / (16 * 730), rel=1e-6)
    verdicts = signal_headline(found).verdicts
    text = next(v.sentence for v in verdicts if v.rate is infection)
    assert text.startswith("Too few events to say: 0 bloodstream infections at north since")
    assert "None in 730 days." in text


def test_six_months_are_too_early_and_seven_are_followed():
    one = dict.fromkeys(MONTHS[:7], 3)
    early = surveillance(two_years(dict.fromkeys(SITES, one), as_of="2029-08-30"))
    assert {rate.code for rate in early.rates} == {SignalCode.TOO_EARLY}
    assert signal_headline(early).code is SignalCode.TOO_EARLY
    later = surveillance(two_years(dict.fromkeys(SITES, one), as_of="2029-11-30"))
    assert later.of("skin", "north").baseline == ("2029-03", "2029-08")


def test_a_provisional_month_raises_a_signal_and_never_clears_one():
    many = {**ONE_DOUBLED["south"], MONTHS[-1]: 0}
    quiet_at_the_end = surveillance(
        two_years({**ONE_DOUBLED, "south": many}, as_of="2031-02-20")
    ).of("skin", "south")
    assert quiet_at_the_end.code is SignalCode.RISEN
    burst = {**STEADY, MONTHS[-1]: 16}
    raised = surveillance(two_years({**ALL_STEADY, "south": burst}, as_of="2031-02-28"))
    assert raised.of("skin", "south").rise.provisional


def test_a_rise_that_ended_is_said_to_be_lower_now():
    for_half_a_year = {**STEADY, **dict.fromkeys(MONTHS[12:17], 9), **dict.fromkeys(MONTHS[18:], 2)}
    found = surveillance(two_years({**ALL_STEADY, "south": for_half_a_year}))
    assert found.of("skin", "south").code is SignalCode.ROSE_EARLIER
    assert "no longer shows it" in signal_headline(found).sentence


def test_a_rise_whose_limits_reach_below_one_is_only_possible(doubled):
    rate = surveillance(doubled).of("skin", "south")
    unsure = replace(rate, rise=replace(rate.rise, lower=0.93))
    assert signal_verdict(rate, 1).sentence.startswith("Skin events at south have risen to about ")
    possible = signal_verdict(unsure, 1).sentence
    assert possible.startswith("Skin events at south may have risen to about ")


def test_without_families_nothing_is_followed():
    empty = two_years({site: {} for site in SITES}, as_of="2029-03-01")
    headline = signal_headline(surveillance(empty))
    assert headline.code is SignalCode.TOO_EARLY
    assert signals_table(headline, {}).shape[1] == 11


def test_days_and_events_of_steps_add_up_to_the_tallies(doubled):
    steps = step_days(doubled.timeline, doubled.tallies, heard_days(doubled))
    days = doubled.tallies.days
    days = days[(days["task"] == Task.DRESSING).to_numpy(dtype=bool)]
    month = days["month"].dt.strftime("%Y-%m")
    for column, found in (
        ("home_line_days", steps.home),
        ("heard_days", steps.heard),
        ("child_days", steps.child),
    ):
        whole = days[column].groupby(month).sum()
        by_month = [found[:, np.array(steps.months) == m].sum() for m in whole.index]
        assert by_month == whole.tolist()
    events = step_events(steps, step_places(steps, doubled.tallies, "skin"))
    assert events.sum() == doubled.tallies.events.query("event == 'skin'")["events"].sum()
    assert [str(s) for s in dict.fromkeys(steps.site)] == list(SITES)


def test_page_report_command_and_digests_have_the_same_verdict(doubled):
    headline = signal_headline(surveillance(doubled))
    view = rates_view(doubled, understood(doubled, RatesChoice()), headline)
    assert view.signals.headline == headline.sentence
    assert view.signals.panels[0].name == "south"
    assert view.signals.panels[0].sentence == headline.signals[0].sentence
    period = month("2031-02")
    data = ReportData(period, doubled, {period.end: doubled}, pd.DataFrame({"site": []}), None)
    report = prevention_report(data, Copy.TEAM)
    assert report.brief[0] == report.parts[0].answer == headline.sentence
    assert signals_table(headline, {}).loc[0, "sentence"] == headline.signals[0].sentence
    line = signals_line(data.signals.worked)
    assert line.startswith("Open signals: skin events at south (")
    assert line in educator_report(data, Copy.TEAM).brief
    assert line not in educator_report(data, Copy.OUTSIDE).brief


def test_an_open_site_shows_its_families_and_what_changed(doubled):
    headline = signal_headline(surveillance(doubled))
    choice = understood(doubled, RatesChoice(site="south"))
    view = rates_view(doubled, choice, headline)
    opened = view.signals.opened
    rise = headline.signals[0].rate.rise
    since = doubled.tallies.onsets["onset_on"] >= f"{rise.since}-01"
    at = doubled.tallies.lines["site"].to_numpy()[doubled.tallies.onsets["line"]]
    wanted = since & (at == "south") & (doubled.tallies.onsets["event"] == "skin")
    assert sum(int(events) for _, _, events, _, _ in opened.families) == wanted.sum()
    assert all(address == f"/family/{code}" for code, address, *_ in opened.families)
    assert {heading for heading, _ in opened.mix} == {"Nurse", "Line type", "Dressing", "Age"}
    assert view.narrowed == "Figures below show only: site south."
    assert view.whole["events"].iloc[0] == 16 * 3 + 8 * 6


def test_narrowing_to_a_site_shows_that_site_alone_and_the_headline_stays(doubled):
    headline = signal_headline(surveillance(doubled))
    alone = rates_view(doubled, understood(doubled, RatesChoice(site="north")), headline)
    assert alone.whole["events"].iloc[0] == 72
    assert alone.signals.headline == headline.sentence
    assert alone.groups == (("north", "north"),)
    unknown = understood(doubled, RatesChoice(site="moon", nurse="x", line_type="picc"))
    assert (unknown.site, unknown.nurse, unknown.line_type) == (None, None, None)
