"""Which words do pages share? Those that reports use as well come from `analysis.words`."""

from __future__ import annotations

from datetime import date, datetime

from analysis.words import (
    BANDS,
    BANDS_SHOWN,
    BANDS_TO_CALL,
    CAUTIONS,
    LINE_TYPES,
    MONTHS,
    NOT_NHSN,
    REASONS,
    chance,
    counted,
    day_year,
    limits,
    listed,
    long_day,
    need_words,
    number,
    percent,
    percents,
    plain,
    sentence,
    short_day,
    signal_words,
    thousands,
    weekday_words,
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
    "NOT_NHSN",
    "PER_PAGE",
    "REASONS",
    "TABLES",
    "ago",
    "chance",
    "counted",
    "day_year",
    "head",
    "limits",
    "listed",
    "long_day",
    "moment",
    "need_words",
    "number",
    "percent",
    "percents",
    "plain",
    "sentence",
    "short_day",
    "signal_words",
    "since",
    "thousands",
    "weekday_words",
]

DEMO = "Demonstration: every family, line and entry here is invented."
DONE = "done"
"""Next to the bands: calls recorded on the day."""
AHEAD = "ahead"
"""Next to the bands: what is due in the next 14 days."""
AHEAD_TITLE = "Next 14 days"
DONE_TITLE = "Done today"
PER_PAGE = (50, 100, 200)
"""Rows on a page of the call list, to choose from."""
HEADS = {
    "line_id": "line",
    "family_id": "family",
    "child_id": "child",
    "caregiver_id": "caregiver",
    "entry_id": "entry",
    "done_at": "done",
    "kind": "entry kind",
    "called_by": "called by",
    "outcome": "outcome",
    "recheck_on": "call again on",
}
ACTS = {
    "sign_in_refused": "sign-in refused",
    "opened_family": "opened family",
    "recorded_call": "recorded a call to",
    "took_back_call": "undid a call to",
    "marked_refresher": "marked a refresher of",
    "took_back_refresher": "undid a refresher of",
    "planned_session": "planned or changed a training session:",
    "printed_contacts": "printed the list with contacts of",
    "assigned_family": "assigned family",
    "set_family_aside": "postponed family",
    "took_back_arrangement": "undid an arrangement for",
    "annotated_rates": "added a note on the chart:",
    "acted_on_signal": "worked on a signal:",
    "withdrew_annotation": "removed a note on the chart:",
    "exported_table": "exported a table",
    "took_in_file": "imported a file",
    "described_source": "described a source",
    "mended_row": "corrected a refused row",
    "refused": "was refused access",
    "deleted_family": "deleted on request the family",
    "added_user": "added a user",
    "ended_user": "ended a user",
    "set_password": "set a password",
    "unlocked_user": "unlocked a user",
    "ended_sign_ins": "ended sign-ins of",
    "began_two_steps": "set up two-step sign-in for",
    "ended_two_steps": "ended two-step sign-in of",
}
"""What a person did, as the access log shows it."""
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
    """A column's name in plain words."""
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


def since(at: datetime, now: datetime) -> str:
    """A moment as people speak of it on the day of another: "today 08:10", "29 Nov, 16:40".

    Examples
    --------
    >>> since(datetime(2031, 3, 3, 16, 40), datetime(2031, 3, 4, 8))
    'yesterday 16:40'
    >>> since(datetime(2031, 3, 1, 16, 40), datetime(2031, 3, 4, 8))
    '1 Mar, 16:40'
    """
    days = (now.date() - at.date()).days
    if days in (0, 1):
        return f"{'today' if days == 0 else 'yesterday'} {at:%H:%M}"
    return f"{short_day(at.date(), now.date())}, {at:%H:%M}"


def moment(at: datetime) -> str:
    """Day and time of receipt.

    Examples
    --------
    >>> moment(datetime(2031, 3, 4, 7, 30))
    '4 Mar 2031, 07:30'
    """
    return f"{day_year(at.date())}, {at:%H:%M}"
