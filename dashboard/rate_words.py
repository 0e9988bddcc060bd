"""How are rates, limits, signals and comparisons said to a reader? One sentence a function."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import pandas as pd

from dashboard import words
from dashboard.words import limits as limits
from dashboard.words import number as number
from dashboard.words import percent as percent
from dashboard.words import percents as percents

NOT_NHSN = "Home line-days, not an NHSN rate."
PER = "per 1000 home line-days"
BASES = {"line": "each line counted", "child": "a child's day counted once"}
BASIS_CHOICES = {"line": "per line", "child": "per child"}
PERIODS = {"month": ("month", "months"), "quarter": ("quarter", "quarters")}
GROUPINGS = {
    "site": "site",
    "line_type": "line type",
    "dressing_type": "dressing",
    "age_band": "age",
    "therapy": "therapy",
}
MANY_GROUPS = {
    "site": "Sites",
    "line_type": "Line types",
    "dressing_type": "Dressings",
    "age_band": "Ages",
    "therapy": "Therapies",
}
DWELL_GROUPINGS = {
    "all": "all lines together",
    "site": "site",
    "line_type": "line type",
    "therapy": "therapy",
}
DWELL_CHOICES = {
    "all": "all lines together",
    "site": "by site",
    "line_type": "by line type",
    "therapy": "by therapy",
}
DWELL_TITLES = {**DWELL_CHOICES, "all": "all lines"}
DRESSINGS = {
    "transparent": "transparent",
    "transparent_chg": "transparent with chlorhexidine",
    "gauze": "gauze",
    "none": "no dressing",
}
NOT_RECORDED = "not recorded"
NEW_PERIODS = 3
"""A signal within so many settled periods is a matter of now."""
CHOSEN_AFTER = (
    "A spell that was chosen after looking at the chart looks surer than it is: choose it by what "
    "was changed and when."
)
RATIO_CAUTION = (
    "Trust the row with families allowed for where a few families have several of the events."
)
LOGRANK_CAUTION = (
    "The test takes lines as independent: where a family has several lines, its p is too small."
)

FIELD_NOTE = (
    "Light fields, or upright lines: 95 % limits at each day by itself. A line counts from the day it came home, so "
    "the lines at risk may grow in number at first."
)
HAZARD_NOTE = (
    "Families in trouble may be late and lose a line for the same reason. Limits allow for "
    "several lines of one child."
)


# -- names ----------------------------------------------------------------------------------


def group_name(group: Any, by: str) -> str:
    """A value of a grouping as a reader would say it.

    Examples
    --------
    >>> group_name("picc", "line_type"), group_name("1-4", "age_band"), group_name(None, "site")
    ('PICC', '1–4 years', 'not recorded')
    """
    if group is None or pd.isna(group):
        return NOT_RECORDED
    text = str(group)
    if by == "line_type":
        return words.LINE_TYPES.get(text, words.plain(text))
    if by == "dressing_type":
        return DRESSINGS.get(text, words.plain(text))
    if by == "age_band":
        return "under 1 year" if text == "0" else text.replace("-", "–") + " years"
    if by == "all":
        return "all lines"
    if by in PERIODS:
        return period_name(text)
    return words.plain(text)


def period_name(period: str) -> str:
    """A month or quarter in words.

    Examples
    --------
    >>> period_name("2031-03"), period_name("2031-Q1")
    ('Mar 2031', 'Q1 2031')
    """
    year, part = period.split("-")
    return f"{part if part.startswith('Q') else words.MONTHS[int(part) - 1]} {year}"


def period_of(day: date, period: str) -> str:
    """The month or quarter of a day, as tables name it.

    Examples
    --------
    >>> period_of(date(2031, 3, 4), "month"), period_of(date(2031, 3, 4), "quarter")
    ('2031-03', '2031-Q1')
    """
    return f"{day:%Y-%m}" if period == "month" else f"{day.year}-Q{(day.month + 2) // 3}"


def span_name(first: str, last: str) -> str:
    """A spell of periods in words."""
    if first == last:
        return period_name(first)
    return f"{period_name(first)} to {period_name(last)}"


# -- numbers --------------------------------------------------------------------------------


def chance(p: Any) -> str:
    """A p value as a reader can use it.

    Examples
    --------
    >>> chance(0.0004), chance(0.058)
    ('p < 0.001', 'p = 0.058')
    """
    if pd.isna(p):
        return "no p"
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}" if p < 0.1 else f"p = {p:.2f}"


def counted_events(events: int) -> str:
    """Number of events in words."""
    return words.counted(events, "event", "events") if events else "no event"


def line_days(days: int) -> str:
    """Home line-days in words."""
    return words.counted(days, "home line-day", "home line-days")


# -- rates ----------------------------------------------------------------------------------


def rate_words(row: Any) -> str:
    """A rate with its limits, counts and log coverage; zero and no denominators in words.

    Examples
    --------
    >>> row = {"events": 0, "line_days": 300, "rate_per_1000": 0.0, "upper": 12.3, "lower": 0.0,
    ...        "log_coverage": 0.5}
    >>> rate_words(row).replace(chr(0x202F), " ")
    'no event in 300 home line-days: at most 12.3 per 1000 (95 % limit); log coverage 50 %'
    """
    events, days = int(row["events"]), int(row["line_days"])
    if days == 0:
        return f"{counted_events(events)} and no home line-days: no rate"
    logged = f"log coverage {percent(row['log_coverage'])}"
    of = f"{counted_events(events)} in {line_days(days)}"
    if events == 0:
        return f"{of}: at most {number(row['upper'])} per 1000 (95 % limit); {logged}"
    return (
        f"{number(row['rate_per_1000'])} {PER} (95 % limits {limits(row['lower'], row['upper'])}), "
        f"{of}; {logged}"
    )


def whole_words(name: str, whole: pd.DataFrame, basis: str) -> str:
    """The programme's rate over the whole time."""
    if not len(whole):
        return f"{words.sentence(name)[:-1]}: no home line-days are known, so there is no rate."
    said = rate_words(whole.iloc[0])
    return f"{words.sentence(name)[:-1]}, whole time: {said}; {BASES[basis]}. {NOT_NHSN}"


def drift_words(chart: pd.DataFrame, period: str) -> str:
    """Whether the chart says that the rate is drifting, from its settled periods."""
    one, many = PERIODS[period]
    if not len(chart):
        return f"No home line-days are known, so no {one} has a rate."
    settled = chart[~chart["provisional"].to_numpy(dtype=bool)].reset_index(drop=True)
    wait = len(chart) - len(settled)
    later = (
        f" {words.sentence(words.counted(wait, one, many))[:-1]} still provisional." if wait else ""
    )
    later = later.replace(" still", " is still" if wait == 1 else " are still")
    already = [
        str(row["label"])
        for row in chart.to_dict("records")
        if row["provisional"] and "above_limit" in str(row["signal"]).split(";")
    ]
    if already:
        lie = "is" if len(already) == 1 else "are"
        return (
            f"Look into it: {words.listed(already)} {lie} above the upper limit already, though "
            f"still provisional: late entries can only raise it."
        )
    if not len(settled):
        return f"Too early to say: every {one} is still provisional."
    if settled["upper_limit"].isna().all():
        return f"Nothing to chart: no event in the {many} that the limits come from.{later}"
    of = words.counted(len(settled), f"settled {one}", f"settled {many}")
    told = settled[settled["said"] != ""]
    if not len(told):
        return f"Not drifting: none of {of} breaks a rule of the chart.{later}"
    newest = told.iloc[-1]
    point = f"{newest['label']}, {newest['said']}"
    if int(told.index[-1]) >= len(settled) - NEW_PERIODS:
        breaks = "breaks" if len(told) == 1 else "break"
        return (
            f"Look into it: {len(told)} of {of} {breaks} a rule of the chart, the newest "
            f"{point}.{later}"
        )
    return (
        f"Not drifting now: none of the last {NEW_PERIODS} settled {many} breaks a rule of the "
        f"chart; {len(told)} of {of} did before, the newest {point}.{later}"
    )


def trend_words(trend: pd.DataFrame, period: str) -> str:
    """The trend over the whole time, with what families being alike does to its limits."""
    one, many = PERIODS[period]
    row = trend.iloc[0]
    ratio, lower, upper = (float(row[c]) for c in ("ratio_per_period", "lower", "upper"))
    if math.isnan(ratio):
        return f"No trend can be told: no event, or only one {one}."
    if math.isnan(lower) or math.isnan(upper):
        return "No trend can be told: events in fewer than ten families."
    change = (
        f"{_change(ratio)} from {one} to {one} (95 % limits {_change(lower)} to {_change(upper)})"
    )
    if lower <= 1 <= upper:
        return f"Trend over all {many}: {change}, not told from a steady rate."
    return f"Trend over all {many}: {'rising' if ratio > 1 else 'falling'}, {change}."


def _change(ratio: float) -> str:
    """A ratio as a change in per cent, with its sign.

    Examples
    --------
    >>> _change(1.02), _change(0.914), _change(1.0)
    ('+2.0 %', '−8.6 %', '0.0 %')
    """
    text = f"{100 * (ratio - 1):+.1f} %".replace("-", "\N{MINUS SIGN}")
    return text[1:] if text[1:] == "0.0 %" else text


def by_group_words(table: pd.DataFrame, by: str) -> str:
    """How far the limits of the groups overlap, without ranking them."""
    rated = table[(table["line_days"] > 0).to_numpy(dtype=bool)]
    if len(rated) < 2:
        return "Fewer than two groups have home line-days: there is nothing to set side by side."
    none = int((rated["events"] == 0).sum())
    apart = float(rated["lower"].max()) > float(rated["upper"].min())
    said = (
        "Some 95 % limits do not overlap: compare those groups below."
        if apart
        else "All 95 % limits overlap: this table alone tells no group from another."
    )
    zero = (
        f" {words.sentence(words.counted(none, 'group has', 'groups have'))[:-1]} no event: "
        "the upper limit says what may still be."
        if none
        else ""
    )
    return f"{said}{zero} {MANY_GROUPS[by]} differ in the children they have, too."


def ratio_words(ratios: pd.DataFrame, names: tuple[str, str]) -> str:
    """The comparison in plain words, from the row that allows for families where it has limits."""
    alone, clustered = ratios.iloc[0], ratios.iloc[1]
    first, second = names
    usable = not (pd.isna(clustered["lower"]) or pd.isna(clustered["upper"]))
    row = clustered if usable else alone
    if pd.isna(alone["ratio"]):
        return f"Neither {first} nor {second} has an event: there is nothing to tell apart."
    how = "families allowed for" if usable else "events taken as independent"
    span = f"95 % limits {limits(row['lower'], row['upper'])}, {how}"
    if math.isinf(float(row["ratio"])):
        head = words.sentence(second)[:-1]
        said = f"{head} has no event, so no ratio can be told but its limits ({span})"
    else:
        head = words.sentence(first)[:-1]
        said = f"{head} has {number(row['ratio'])} times the rate of {second} ({span})"
    few = "" if usable else " With events in fewer than ten families no more can be allowed for."
    if row["lower"] > 1:
        return f"{said}: higher by more than chance.{few}"
    if row["upper"] < 1:
        return f"{said}: lower by more than chance.{few}"
    return f"{said}: the data do not tell the two apart.{few}"


def funnel_words(funnel: pd.DataFrame) -> str:
    """Which sites lie outside the limits, in order of their name."""
    if len(funnel) < 2:
        return "Fewer than two sites have home line-days: there is nothing to compare."
    rate = funnel["rate_per_1000"]
    far = (rate > funnel["upper_998"]) | (rate < funnel["lower_998"])
    near = ~far & ((rate > funnel["upper_95"]) | (rate < funnel["lower_95"]))
    parts = []
    for flag, limit in ((far, "99.8 %"), (near, "95 %")):
        named = [str(n) for n in funnel.loc[flag.to_numpy(dtype=bool), "name"]]
        if named:
            lie = "lies" if len(named) == 1 else "lie"
            parts.append(f"{words.listed(named)} {lie} outside the {limit} limits")
    said = "; ".join(parts) if parts else "All sites lie inside the 95 % limits"
    return f"{said} about the rate of all sites."


def bias_words(bias: pd.DataFrame) -> str:
    """What silence could do to the rate, in one sentence."""
    if not len(bias):
        return "There are no home line-days, so nothing can be said of logging."
    row = bias.iloc[0]
    covered = f"the log covers {percent(row['log_coverage'])} of home line-days"
    if not row["well_logged_days"]:
        return (
            f"An event is known only when it is logged, {covered}, and no family logs well enough "
            "to stand for days without silence."
        )
    lower, upper = row["well_logged_lower"], row["well_logged_upper"]
    alike = bool(lower <= row["rate_per_1000"] <= upper)
    said = (
        "families that log well have a rate that does not stand apart from that of all"
        if alike
        else "families that log well have another rate than all: read the chart with care"
    )
    return f"An event is known only when it is logged: {covered}, and {said}."


def provisional_words(row: Any, period: str) -> str:
    """Why a period is provisional, and what its rate may become; empty for a settled one."""
    if not row["provisional"]:
        return ""
    why = f"{period} not over" if row["not_over"] else "late entries to come"
    expected = row["expected_rate_per_1000"]
    more = "" if pd.isna(expected) else f", {number(expected)} expected with late entries"
    return f"provisional: {why}{more}"


# -- dwell ----------------------------------------------------------------------------------


def dwell_sentence(row: Any, name: str | None) -> str:
    """The reading of one group, with its median; `name` None: of all lines together."""
    reading = words.sentence(str(row["reading"]))
    lines = words.counted(int(row["lines"]), "line", "lines")
    if not pd.isna(row["start_day"]):
        half = whole_day(row["median_day"])
        reading += (
            " Half are not removed within the time seen."
            if pd.isna(row["median_day"])
            else f" Half were removed by day {half} (95 % limits {day_limits(row)})."
        )
    return (
        f"{reading} {words.sentence(lines)[:-1]} seen." if name is None else f"{lines}. {reading}"
    )


def given_from(start: Any) -> str:
    """From which day on a curve is given."""
    if start is None or pd.isna(start) or int(start) == 0:
        return "all lines from placement"
    return f"given in place on day {int(start)}"


def logrank_words(row: Any, of: str, by: str) -> str:
    """A log-rank test in words."""
    what = f"{of}, by {DWELL_GROUPINGS[by]}"
    if pd.isna(row["p"]):
        return f"{what}: nothing can be compared."
    numbers = (
        f"log-rank test, chi-squared {number(row['statistic'])} on "
        f"{words.counted(int(row['df']), 'degree', 'degrees')} of freedom, {chance(row['p'])}"
    )
    said = (
        "the groups end at different rates, by more than chance"
        if row["p"] < 0.05
        else "the data do not tell the groups apart"
    )
    return f"{what}: {said} ({numbers})."


def hazard_words(hazard: pd.DataFrame) -> str:
    """Unplanned removal while the dressing is out of date, in words."""
    row = hazard.iloc[0]
    late, all_of = int(row["unplanned_out_of_date"]), int(row["unplanned"])
    return (
        f"{late} of {words.counted(all_of, 'unplanned removal', 'unplanned removals')} came while "
        f"the dressing was out of date. {words.sentence(str(row['reading']))}"
    )


def shares_at_end(
    curves: pd.DataFrame,
    drawn: pd.DataFrame,
    last_day: int,
    columns: tuple[str, str, str],
    what: str,
) -> str:
    """The share of each group on the last day of the axis, with its limits.

    `columns` names the share and its limits among those of DWELL.
    """
    said = []
    for row in drawn.to_dict("records"):
        of_group = (curves["name"] == row["name"]) & (curves["day"] <= last_day)
        mine = curves[of_group.to_numpy(dtype=bool)]
        if not len(mine):
            said.append(f"{row['name']}: no line has ended")
            continue
        share, lower, upper = (percent(mine[c].iloc[-1]) for c in columns)
        day = min(last_day, int(row["horizon"]))
        said.append(f"{row['name']} {share} by day {day} (95 % limits {lower} to {upper})")
    if not said:
        return "There are too few lines for a curve."
    return words.sentence(f"{what}: {'; '.join(said)}")


def whole_day(day: Any) -> str:
    """A day since placement, or that it is not reached."""
    return "not reached" if pd.isna(day) else str(int(day))


def day_limits(row: Any) -> str:
    """Limits of the median."""
    if pd.isna(row["median_day"]):
        return "–"
    lower = "–" if pd.isna(row["median_lower"]) else str(int(row["median_lower"]))
    return f"{lower} to {whole_day(row['median_upper'])}"
