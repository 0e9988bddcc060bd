"""How is that said which only pages say? What papers say as well comes from `analysis.words`."""

from __future__ import annotations

from datetime import date

from analysis.words import (
    BANDS,
    BANDS_SHOWN,
    BANDS_TO_CALL,
    CAUTIONS,
    LINE_TYPES,
    MONTHS,
    counted,
    day_year,
    limits,
    listed,
    long_day,
    number,
    percent,
    percents,
    plain,
    sentence,
    short_day,
    signal_words,
    thousands,
)

__all__ = [
    "ACTS",
    "BANDS",
    "BANDS_SHOWN",
    "BANDS_TO_CALL",
    "CAUTIONS",
    "DEMO",
    "HEADS",
    "LINE_TYPES",
    "MONTHS",
    "PER_PAGE",
    "RELATIONS",
    "TABLES",
    "ago",
    "counted",
    "day_year",
    "head",
    "limits",
    "listed",
    "long_day",
    "number",
    "percent",
    "percents",
    "plain",
    "sentence",
    "short_day",
    "signal_words",
    "thousands",
]

DEMO = "Demonstration: every family, line and entry here is invented."
DONE = "done"
"""Beside the bands: calls recorded on the day."""
DONE_TITLE = "Done today"
PER_PAGE = (50, 100, 200)
"""Rows on a page of the call list, to choose from."""
RELATIONS = {"self": "the child"}
HEADS = {
    "line_id": "line",
    "family_id": "family",
    "child_id": "child",
    "caregiver_id": "caregiver",
    "entry_id": "entry",
    "done_at": "done",
    "kind": "entry kind",
    "made_by": "called by",
    "reached": "reached",
    "recheck_on": "recheck on",
}
ACTS = {
    "sign_in_refused": "was not let in",
    "opened_family": "opened family",
    "recorded_call": "recorded a call to",
    "took_back_call": "took back a call to",
    "marked_refresher": "marked a refresher of",
    "took_back_refresher": "took back a refresher of",
    "assigned_family": "assigned family",
    "set_family_aside": "set aside family",
    "took_back_arrangement": "took back what was arranged for",
    "annotated_rates": "wrote beside the rates:",
    "withdrew_annotation": "withdrew what stood beside the rates:",
    "exported_table": "took a table out",
    "took_in_file": "brought a file in",
    "mended_row": "mended a refused row",
    "refused": "was refused",
    "added_user": "added a user",
    "ended_user": "ended a user",
    "set_password": "set a password",
}
"""What the access record says somebody did."""
TABLES = {
    "home_log": "Home log",
    "lines": "Line registry",
    "stays": "Nights away",
    "outcomes": "Confirmed harm",
    "calls": "Recorded call",
    "caregivers": "Caregivers",
    "sign_offs": "Sign-offs",
}


def head(column: str) -> str:
    """A column's name as a reader would say it."""
    return HEADS.get(column, plain(column.removesuffix("_on") if column != "on" else column))


def ago(day: date, as_of: date) -> str:
    """How long before the as-of day: "today", "yesterday", "3 days ago".

    Examples
    --------
    >>> ago(date(2031, 3, 1), date(2031, 3, 4))
    '3 days ago'
    """
    days = (as_of - day).days
    if days < 0:
        return "after this day"
    return {0: "today", 1: "yesterday"}.get(days, f"{days} days ago")
