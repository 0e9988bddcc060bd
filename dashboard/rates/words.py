"""How are rates, limits, signals and comparisons said to a reader? One sentence a function."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from dashboard.layout import words
from dashboard.layout.group_words import PERIODS, period_name
from dashboard.layout.words import limits as limits
from dashboard.layout.words import number as number
from dashboard.layout.words import percent as percent
from dashboard.layout.words import percents as percents

NOT_NHSN = "Home line-days, not an NHSN rate."
PER = "per 1000 home line-days"
BASES = {"line": "each line counted", "child": "a child's day counted once"}
BASIS_CHOICES = {"line": "per line", "child": "per child"}
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
NEW_PERIODS = 3
"""A signal within so many settled periods is a matter of now."""
CHOSEN_AFTER = (
    "A spell that was chosen after looking at the chart looks surer than it is: choose it by what "
    "was changed and when."
)
RATIO_CAUTION = (
    "Trust the row with families allowed for where a few families have several of the events."
)


def span_name(first: str, last: str) -> str:
    """A spell of periods in words."""
    if first == last:
        return period_name(first)
    return f"{period_name(first)} to {period_name(last)}"


def counted_events(events: int) -> str:
    """Number of events in words."""
    return words.counted(events, "event", "events") if events else "no event"


def line_days(days: int) -> str:
    """Home line-days in words."""
    return words.counted(days, "home line-day", "home line-days")


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
