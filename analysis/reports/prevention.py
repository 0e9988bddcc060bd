"""What is in infection prevention's report? Rates with exact limits, change, comparison, logging."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analysis.decisions.signal_work import STATES
from analysis.measures.charts import chart_false_alarms, rate_chart
from analysis.measures.comparison import SPAN, compare, compared_rates
from analysis.measures.completeness import settled_tallies
from analysis.measures.counts import MeasureError, usual_basis
from analysis.measures.funnels import LEAGUE_TABLE_CAUTION
from analysis.measures.logging_bias import logging_bias
from analysis.measures.rates import rates
from analysis.reports import figures
from analysis.reports.basis import titled
from analysis.reports.cells import rate_cells
from analysis.reports.data import ReportData
from analysis.reports.figures import Point
from analysis.reports.outside import outside_parts
from analysis.reports.period import month_words
from analysis.reports.report import Figure, Part, Report, Table
from analysis.verdicts import (
    chart_verdict,
    event_name,
    false_alarm_sentence,
    ratio_verdict,
    site_name,
)
from analysis.vocabulary import Basis, Copy, Grouping, Limits, OutcomeKind, Role
from analysis.words import (
    NOT_NHSN,
    limits,
    number,
    percent,
    plain,
    sentence,
    signal_words,
    text,
    thousands,
)

SKIN = "skin"
PER = "per 1000 home line-days"
PERIODS_SHOWN = 13
BEFORE = {Grouping.MONTH: 12, Grouping.QUARTER: 4}
"""Periods that the newest complete one is compared with: a year."""
BASES = {Basis.LINE: "per line", Basis.CHILD: "per child"}


def prevention_report(data: ReportData, copy: Copy) -> Report:
    """Put infection prevention's report together.

    Parameters
    ----------
    data : ReportData
        Of the period.
    copy : Copy
        One for outside is `outside.outside_parts`.
    """
    if data.now.tallies.days.empty:
        nothing = Part(
            "How often did harm happen?", "There are no home line-days, so there is no rate."
        )
        return titled(data, Role.PREVENTION, copy, [nothing.answer], [nothing])
    if copy is Copy.OUTSIDE:
        parts = outside_parts(data, Role.PREVENTION)
        return titled(data, Role.PREVENTION, copy, [p.answer for p in parts], parts)
    by = Grouping.MONTH
    chart = drifting(data, by)
    parts = [
        _signals(data),
        _events(data),
        _drift(data, chart, by),
        _compared(data, chart, by),
        _sites(data),
    ]
    brief = [p.answer for p in parts[:4]]
    return titled(data, Role.PREVENTION, copy, brief, [*parts, _silence(data)])


def _signals(data: ReportData) -> Part:
    found = data.signals.headline
    states = data.signals.states
    rows = tuple(
        (
            sentence(event_name(verdict.rate.event))[:-1],
            site_name(verdict.rate),
            verdict.short,
            STATES[states[of]]
            if (of := (verdict.rate.event, verdict.rate.site)) in states
            else "–",
            f"{verdict.rate.baseline_events} / {verdict.rate.events}",
        )
        for verdict in found.verdicts
    )
    heads = ("Event", "Site", "Verdict", "State", "Events in baseline / since")
    return Part(
        "Has harm risen anywhere?",
        found.sentence,
        tables=(Table("Every event and site", heads, rows),) if rows else (),
        notes=(found.caution,),
        explained=("signal",),
    )


def drifting(data: ReportData, by: Grouping) -> pd.DataFrame:
    """Chart of skin events by period with limits, and which periods are provisional.

    Returns
    -------
    DataFrame
        RATE_CHART with ``group`` for its period.
    """
    return rate_chart(data.now, SKIN, by, usual_basis(SKIN)).rename(columns={"period": "group"})


def _rate(row: Any) -> str:
    """A rate in words, with its counts and limits."""
    events, days = int(row["events"]), thousands(int(row["line_days"]))
    if not row["line_days"]:
        return f"{events} and no home line-days: no rate"
    of = f"{events} in {days} home line-days"
    if not events:
        return f"{of}: at most {number(row['upper'])} {PER} (95 % limit)"
    return f"{of}: {number(row['rate_per_1000'])} {PER} (95 % limits {limits(row['lower'], row['upper'])})"


def _events(data: ReportData) -> Part:
    rows, first = [], None
    known = [str(e) for e in data.now.tallies.events["event"].cat.categories]
    for event in (SKIN, *(str(o) for o in OutcomeKind if str(o) in known)):
        basis = usual_basis(event)
        found = rates(data.tallies, event, Grouping.ALL, basis, Limits.EXACT)
        if found.empty:
            continue
        shown = found.iloc[0].to_dict()
        if event == SKIN:
            first = shown
        name = "Skin events" if event == SKIN else sentence(plain(event))[:-1]
        rows.append((name, *rate_cells(shown), BASES[basis]))
    title = f"How often did harm happen in {data.period.words}?"
    explained = ("skin_rate", "rate_limits")
    if first is None:
        return Part(title, "There are no home line-days, so there is no rate.", explained=explained)
    heads = ("Event", "Events", "Home line-days", "Per 1000", "95 % limits", "Line-days counted")
    return Part(
        title,
        f"Skin events: {_rate(first)}. {NOT_NHSN}",
        tables=(Table(f"Events attributed to home, {data.period.words}", heads, tuple(rows)),),
        notes=(
            (
                "Limits are exact. With few events they are wide, and one period alone shows little: "
                "read it with the chart."
            ),
        ),
        explained=explained,
    )


def _drift(data: ReportData, chart: pd.DataFrame, by: Grouping) -> Part:
    title = "Is the rate of skin events changing?"
    explained = ("control_chart", "skin_rate")
    shown = chart.tail(PERIODS_SHOWN)
    if shown.empty:
        return Part(
            title, "There are no home line-days, so there is no chart.", explained=explained
        )
    points = [
        Point(
            month_words(str(row["group"])),
            float(row["rate_per_1000"]),
            open=bool(row["provisional"]),
            marked=bool(signal_words(row["signal"])),
        )
        for row in shown.to_dict("records")
    ]
    centre, lower, upper = (
        shown[c].astype("float64").tolist() for c in ("centre", "lower_limit", "upper_limit")
    )
    heads = (
        "Month" if by is Grouping.MONTH else "Quarter",
        "Skin events",
        "Home line-days",
        "Per 1000",
        "95 % limits",
        "Log coverage",
        "Signal",
        "Data",
    )
    rows = tuple(
        (
            month_words(str(row["group"])),
            *rate_cells(row),
            percent(row["log_coverage"]),
            sentence(signal_words(row["signal"]))[:-1] if signal_words(row["signal"]) else "none",
            _data_state(row),
        )
        for row in shown.to_dict("records")
    )
    verdict = chart_verdict(chart.rename(columns={"group": "period"}), by)
    alarms = chart_false_alarms(data.now, SKIN, by, usual_basis(SKIN))
    false = false_alarm_sentence(alarms, verdict.settled, by)
    return Part(
        title,
        verdict.sentence,
        Figure(
            figures.control_chart(points, centre, lower, upper, PER),
            "Filled: complete; hollow: provisional; diamond: breaks a rule. Solid: centre; "
            "dashed: limits.",
        ),
        (Table(f"Skin events by {by}", heads, rows),),
        (
            (
                f"Centre and limits come from all {len(chart)} {by}s. A provisional {by} may still "
                "rise as late entries come in."
            ),
            *([false] if false else []),
        ),
        explained,
    )


def _data_state(row: Any) -> str:
    if row["not_over"]:
        return "not over"
    if not row["provisional"]:
        return "complete"
    return f"provisional, {percent(row['completeness'])} received"


def _compared(data: ReportData, chart: pd.DataFrame, by: Grouping) -> Part:
    """The newest period that is over against those of the year before it."""
    title = f"Does the newest {by} differ from the year before it?"
    over = chart[~chart["provisional"].to_numpy(dtype=bool)].tail(BEFORE[by] + 1)
    groups = [str(g) for g in over["group"]]
    if len(groups) < 2:
        return Part(title, f"There are not two {by}s to compare.")
    newest, before = groups[-1], f"{groups[0]}{SPAN}{groups[-2]}"
    names = (month_words(newest), f"{month_words(groups[0])} to {month_words(groups[-2])}")
    args = (settled_tallies(data.now, SKIN), SKIN, by, usual_basis(SKIN), Limits.EXACT)
    table = compared_rates(*args, [newest, before])
    heads = (
        sentence(f"{by}s")[:-1],
        "Skin events",
        "Home line-days",
        "Per 1000",
        "95 % limits",
        "Log coverage",
    )
    rows = tuple(
        (name, *rate_cells(row), percent(row["log_coverage"]))
        for name, row in zip(names, table.to_dict("records"), strict=True)
    )
    shown = Table("The rates compared", heads, rows)
    try:
        ratios = compare(*args, newest, before)
    except MeasureError as fault:
        return Part(title, sentence(str(fault)), tables=(shown,))
    ways = tuple(
        (
            sentence(row["method"])[:-1],
            number(row["ratio"]),
            limits(row["lower"], row["upper"]),
            "no p" if pd.isna(row["p"]) else f"{row['p']:.2g}",
        )
        for row in ratios.to_dict("records")
    )
    return Part(
        title,
        ratio_verdict(ratios, names).sentence,
        tables=(shown, Table("Ratio of the rates", ("Method", "Ratio", "95 % limits", "p"), ways)),
        notes=(
            (
                "Use the row with errors clustered by family where a few families have several of "
                "the events."
            ),
        ),
        explained=("rate_ratio",),
    )


def _sites(data: ReportData) -> Part:
    table = rates(data.tallies, SKIN, Grouping.SITE, usual_basis(SKIN), Limits.EXACT)
    title = "Is any site different from the rest?"
    if table.empty:
        return Part(title, "There are no home line-days.", explained=("funnel",))
    whole = rates(data.tallies, SKIN, Grouping.ALL, usual_basis(SKIN), Limits.EXACT)
    sites = table.to_dict("records")
    names = [text(row["group"]) or "not recorded" for row in sites]
    points = [
        Point(name, float(row["rate_per_1000"]), float(row["lower"]), float(row["upper"]))
        for name, row in zip(names, sites, strict=True)
    ]
    rows = tuple((name, *rate_cells(row)) for name, row in zip(names, sites, strict=True))
    reference = float(whole["rate_per_1000"].iloc[0])
    return Part(
        title,
        "Where limits overlap widely, there is no clear difference between sites.",
        Figure(
            figures.ranges(points, PER, reference=reference, named="all sites"),
            "Dot: rate; bar: exact 95 % limits; dashed: all sites.",
        ),
        (
            Table(
                f"Skin events by site, {data.period.words}",
                ("Site", "Skin events", "Home line-days", "Per 1000", "95 % limits"),
                rows,
            ),
        ),
        (LEAGUE_TABLE_CAUTION,),
        ("rate_limits", "funnel"),
    )


def _silence(data: ReportData) -> Part:
    gap = data.now.edition.settings.episode_gap_days
    title = "Could missing logs change the rate?"
    bias = logging_bias(data.tallies, SKIN, Grouping.ALL, gap)
    if bias.empty:
        return Part(title, "There are no home line-days.")
    row = bias.iloc[0]
    return Part(
        title,
        f"Worst case, if all silent days hid events: {row['hidden_at_most']} more skin events and "
        f"{number(row['rate_at_most'])} {PER} instead of {number(row['rate_per_1000'])}. Families "
        f"that log well have {number(row['well_logged_rate'])} (95 % limits "
        f"{limits(row['well_logged_lower'], row['well_logged_upper'])}).",
        explained=("log_coverage",),
    )
