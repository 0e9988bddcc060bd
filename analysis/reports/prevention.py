"""What is in infection prevention's report? Rates with exact limits, change, comparison, logging."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from analysis.measures import (
    LEAGUE_TABLE_CAUTION,
    Limits,
    MeasureError,
    compare,
    compared_rates,
    logging_bias,
    rate_chart,
    rates,
    settled_tallies,
    usual_basis,
)
from analysis.measures.comparison import SPAN
from analysis.reports import figures
from analysis.reports.basis import titled
from analysis.reports.cells import rate_cells, released
from analysis.reports.data import ReportData
from analysis.reports.figures import Point
from analysis.reports.period import month_words
from analysis.reports.report import Figure, Part, Report, Table
from analysis.stats.small_cells import hidden_counts
from analysis.verdicts import chart_verdict, period_of, ratio_verdict
from analysis.vocabulary import Basis, Copy, Grouping, OutcomeKind, Role
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
        One that leaves the team hides counts from 1 to 10 and goes by quarter, where fewer
        have to be hidden; what would reveal a hidden count is hidden too.
    """
    if data.now.tallies.days.empty:
        nothing = Part(
            "How often did harm happen?", "There are no home line-days, so there is no rate."
        )
        return titled(data, Role.PREVENTION, copy, [nothing.answer], [nothing])
    by = Grouping.MONTH if copy is Copy.TEAM else Grouping.QUARTER
    chart = drifting(data, by, copy)
    parts = [_events(data, chart, copy), _drift(chart, by), _compared(data, chart, by, copy)]
    parts.append(_sites(data, chart, copy))
    if copy is Copy.TEAM:
        parts.append(_silence(data))
    brief = [parts[0].answer, parts[1].answer, parts[2].answer]
    return titled(data, Role.PREVENTION, copy, brief, parts)


def drifting(data: ReportData, by: Grouping, copy: Copy) -> pd.DataFrame:
    """Chart of skin events by period with limits, what is provisional, and what is hidden.

    Returns
    -------
    DataFrame
        RATE_CHART with ``group`` for its period and ``hidden``.
    """
    now, basis = data.now, usual_basis(SKIN)
    chart = rate_chart(now, SKIN, by, basis).rename(columns={"period": "group"})
    exact = released(rates(now.tallies, SKIN, by, basis, Limits.EXACT), copy)
    chart = chart.drop(columns=["lower", "upper"])
    chart = chart.merge(exact[["group", "lower", "upper", "hidden"]], on="group", how="left")
    chart["signal"] = chart["signal"].mask(chart["hidden"].astype(bool))
    return chart


def _rate(row: Any) -> str:
    """A rate in words, with its counts and limits."""
    if row["hidden"]:
        return f"the count is hidden, of {thousands(int(row['line_days']))} home line-days"
    events, days = int(row["events"]), thousands(int(row["line_days"]))
    if not row["line_days"]:
        return f"{events} and no home line-days: no rate"
    of = f"{events} in {days} home line-days"
    if not events:
        return f"{of}: at most {number(row['upper'])} {PER} (95 % limit)"
    return f"{of}: {number(row['rate_per_1000'])} {PER} (95 % limits {limits(row['lower'], row['upper'])})"


def _events(data: ReportData, chart: pd.DataFrame, copy: Copy) -> Part:
    rows, first = [], None
    known = [str(e) for e in data.now.tallies.events["event"].cat.categories]
    for event in (SKIN, *(str(o) for o in OutcomeKind if str(o) in known)):
        basis = usual_basis(event)
        found = rates(data.tallies, event, Grouping.ALL, basis, Limits.EXACT)
        if found.empty:
            continue
        shown = released(found, copy).iloc[0].to_dict()
        if event == SKIN:
            shown = _given_quarters(data, shown, chart, copy)
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


def _given_quarters(
    data: ReportData, shown: dict[Any, Any], chart: pd.DataFrame, copy: Copy
) -> dict[Any, Any]:
    """Hide the period's count where it would reveal a small rest of a quarter that is shown."""
    if copy is Copy.TEAM or shown["hidden"]:
        return shown
    quarters = {period_of(d, Grouping.QUARTER) for d in (data.period.start, data.period.last)}
    of = chart[chart["group"].isin(quarters)]
    rest = int(of["events"].sum()) - int(shown["events"])
    if not hidden_counts([int(shown["events"]), rest]).counts[0]:
        return shown
    gone = dict.fromkeys(("events", "rate_per_1000", "lower", "upper"), math.nan)
    return {**shown, **gone, "hidden": True}


def _drift(chart: pd.DataFrame, by: Grouping) -> Part:
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
            math.nan if row["hidden"] else float(row["rate_per_1000"]),
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
    return Part(
        title,
        _verdict(chart, by),
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
        ),
        explained,
    )


def _data_state(row: Any) -> str:
    if row["not_over"]:
        return "not over"
    if not row["provisional"]:
        return "complete"
    return f"provisional, {percent(row['completeness'])} received"


def _verdict(chart: pd.DataFrame, by: Grouping) -> str:
    """The verdict of the whole chart; periods with hidden counts are left out and counted."""
    hidden = chart["hidden"].to_numpy(dtype=bool)
    found = chart_verdict(chart[~hidden].rename(columns={"group": "period"}), by)
    aside = f" {int(hidden.sum())} {by}s with hidden counts are left out." if hidden.any() else ""
    return found.sentence + aside


def _compared(data: ReportData, chart: pd.DataFrame, by: Grouping, copy: Copy) -> Part:
    """The newest period that is over against those of the year before it."""
    title = f"Does the newest {by} differ from the year before it?"
    over = chart[~chart["provisional"].to_numpy(dtype=bool)].tail(BEFORE[by] + 1)
    groups = [str(g) for g in over["group"]]
    if len(groups) < 2:
        return Part(title, f"There are not two {by}s to compare.")
    if copy is Copy.OUTSIDE and bool(over["hidden"].any()):
        return Part(title, "Not shown: the comparison would reveal a hidden count.")
    newest, before = groups[-1], f"{groups[0]}{SPAN}{groups[-2]}"
    names = (month_words(newest), f"{month_words(groups[0])} to {month_words(groups[-2])}")
    args = (settled_tallies(data.now, SKIN), SKIN, by, usual_basis(SKIN), Limits.EXACT)
    table = compared_rates(*args, [newest, before]).assign(hidden=False)
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


def _sites(data: ReportData, chart: pd.DataFrame, copy: Copy) -> Part:
    found = rates(data.tallies, SKIN, Grouping.SITE, usual_basis(SKIN), Limits.EXACT)
    table = released(found, copy)
    title = "Is any site different from the rest?"
    if table.empty:
        return Part(title, "There are no home line-days.", explained=("funnel",))
    whole = rates(data.tallies, SKIN, Grouping.ALL, usual_basis(SKIN), Limits.EXACT)
    total = _given_quarters(data, released(whole, copy).iloc[0].to_dict(), chart, copy)
    if total["hidden"]:
        return Part(title, "Not shown: the number of events of all sites together is hidden.")
    points = [
        Point(
            text(r["group"]) or "not recorded",
            *(
                (math.nan,) * 3
                if r["hidden"]
                else (float(r["rate_per_1000"]), float(r["lower"]), float(r["upper"]))
            ),
        )
        for r in table.to_dict("records")
    ]
    rows = tuple(
        (text(r["group"]) or "not recorded", *rate_cells(r)) for r in table.to_dict("records")
    )
    reference = float(total["rate_per_1000"])
    return Part(
        title,
        "Where limits overlap widely, there is no clear difference between sites."
        if copy is Copy.TEAM
        else "Sites with counts that may be shown, with exact limits.",
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
