"""How is dwell time put into words? One sentence a function."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.layout import words
from dashboard.layout.group_words import chance
from dashboard.layout.words import limits as limits
from dashboard.layout.words import number as number
from dashboard.layout.words import percent as percent
from dashboard.layout.words import percents as percents

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
LOGRANK_CAUTION = (
    "Where a family has several lines, the test counts the family once: families are the "
    "independent units."
)
FIELD_NOTE = (
    "Light fields, or upright lines: 95 % limits at each day by itself. A line counts from the day it came home, so "
    "the lines at risk may grow in number at first."
)
HAZARD_NOTE = (
    "Families in trouble may be late and lose a line for the same reason. Limits allow for "
    "several lines of one child."
)


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
