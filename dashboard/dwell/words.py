"""How is dwell time worded? One sentence a function; tests are read by their verdicts."""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboard.layout import words
from dashboard.layout.words import percent

DWELL_GROUPINGS = ("all", "site", "line_type", "therapy")
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
    "Shaded bands or vertical bars: pointwise 95 % confidence limits. A line counts from the day "
    "the child came home, so the number of lines at risk may rise at first."
)
HAZARD_NOTE = (
    "Families in difficulty may be late and lose a line for the same reason. The limits are adjusted for "
    "several lines of one child."
)
UNPLANNED_NOTE = (
    "Unplanned: any removal except therapy complete, planned exchange or death. Those compete with "
    "it, so this share and the share in place do not add up to all lines."
)


def dwell_sentence(row: Any, name: str | None) -> str:
    """The reading of one group, with its median; `name` None: of all lines together."""
    reading = words.sentence(str(row["reading"]))
    lines = words.counted(int(row["lines"]), "line", "lines")
    if not pd.isna(row["start_day"]):
        reading += (
            " Fewer than half were removed within the time observed."
            if pd.isna(row["median_day"])
            else f" Median time to removal {whole_day(row['median_day'])} days "
            f"(95 % limits {day_limits(row)})."
        )
    return f"{reading} {lines}." if name is None else f"{lines}. {reading}"


def given_from(start: Any) -> str:
    """The day that a curve starts on."""
    if start is None or pd.isna(start) or int(start) == 0:
        return "from placement"
    return f"lines in place on day {int(start)}"


def shares_at_end(
    curves: pd.DataFrame,
    shown: pd.DataFrame,
    last_day: int,
    columns: tuple[str, str, str],
    what: str,
) -> str:
    """The share of each group on the last day of the axis, with its limits.

    `columns` names the share and its limits among those of DWELL.
    """
    parts = []
    for row in shown.to_dict("records"):
        of_group = (curves["name"] == row["name"]) & (curves["day"] <= last_day)
        mine = curves[of_group.to_numpy(dtype=bool)]
        if not len(mine):
            parts.append(f"{row['name']}: no line was removed")
            continue
        share, lower, upper = (percent(mine[c].iloc[-1]) for c in columns)
        day = min(last_day, int(row["horizon"]))
        parts.append(f"{row['name']} {share} by day {day} (95 % limits {lower} to {upper})")
    if not parts:
        return "There are too few lines for a curve."
    return words.sentence(f"{what}: {'; '.join(parts)}")


def whole_day(day: Any) -> str:
    """A day since placement, or that it is not reached."""
    return "not reached" if pd.isna(day) else str(int(day))


def day_limits(row: Any) -> str:
    """Limits of the median."""
    if pd.isna(row["median_day"]):
        return "–"
    lower = "–" if pd.isna(row["median_lower"]) else str(int(row["median_lower"]))
    return f"{lower} to {whole_day(row['median_upper'])}"
