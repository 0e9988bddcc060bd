"""How are bands, states, days and codes said to a reader? Every fixed sentence stands here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

CAUTIONS = (
    "linedays supports trained staff and does not diagnose.",
    "A red flag follows the programme's own emergency instruction.",
    "Local policy, the child's orders and licensed practice come first.",
    "Rates shown here are not a submission to any registry.",
)
DEMO = "Demonstration: every family, line and entry here is invented."


@dataclass(frozen=True)
class BandWords:
    """A band's title and what puts a family into it."""

    title: str
    meaning: str


BANDS = {
    "same_day_review": BandWords(
        "Same-day review",
        "A red flag is reported and no call has answered it: the programme's own emergency "
        "instruction comes first.",
    ),
    "call_today": BandWords(
        "Call today", "Care is overdue, a dressing is compromised, or a skin finding is open."
    ),
    "call_this_week": BandWords(
        "Call this week", "Not heard from, state not known, or a pattern to talk about."
    ),
    "waiting": BandWords("Waiting", "Called; listed again from the recheck day."),
    "no_call": BandWords("No call needed", "No reason to call is known."),
}
BANDS_TO_CALL = ("same_day_review", "call_today", "call_this_week")
BANDS_SHOWN = (*BANDS_TO_CALL, "waiting")
DONE = "done"
"""Beside the bands: calls recorded on the day."""
DONE_TITLE = "Done today"
PER_PAGE = (50, 100, 200)
"""Rows on a page of the call list, to choose from."""

LINE_TYPES = {
    "tunneled_cvc": "tunneled line",
    "nontunneled_cvc": "non-tunneled line",
    "picc": "PICC",
    "implanted_port": "implanted port",
    "other": "other line",
}
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
    "exported_table": "took a table out",
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


def plain(code: str) -> str:
    """A code as words: ``line_pulled_out`` as "line pulled out".

    Examples
    --------
    >>> plain("parenteral_nutrition")
    'parenteral nutrition'
    """
    return code.replace("_", " ")


def head(column: str) -> str:
    """A column's name as a reader would say it."""
    return HEADS.get(column, plain(column.removesuffix("_on") if column != "on" else column))


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop.

    Examples
    --------
    >>> sentence("nothing logged for 9 days")
    'Nothing logged for 9 days.'
    """
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def counted(number: int, one: str, many: str) -> str:
    """Number and noun: "1 family", "1 200 families" (thin space between thousands).

    Examples
    --------
    >>> counted(1, "family", "families"), counted(0, "family", "families")
    ('1 family', '0 families')
    """
    return f"{thousands(number)} {one if number == 1 else many}"


def thousands(number: int) -> str:
    """A count with a narrow no-break space between thousands."""
    return f"{number:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def long_day(day: date) -> str:
    """Day with weekday, month and year in words.

    Examples
    --------
    >>> long_day(date(2031, 3, 4))
    'Tuesday 4 March 2031'
    """
    return f"{day:%A} {day.day} {day:%B %Y}"


def short_day(day: date, as_of: date) -> str:
    """Day and month, with the year where it is not the as-of day's.

    Examples
    --------
    >>> short_day(date(2031, 3, 4), date(2031, 3, 9)), short_day(date(2030, 12, 24), date(2031, 3, 9))
    ('4 Mar', '24 Dec 2030')
    """
    year = "" if day.year == as_of.year else f" {day.year}"
    return f"{day.day} {day:%b}{year}"


def day_year(day: date) -> str:
    """Day, month and year.

    Examples
    --------
    >>> day_year(date(2031, 3, 4))
    '4 Mar 2031'
    """
    return f"{day.day} {day:%b %Y}"


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


def listed(words: list[str]) -> str:
    """Words with commas and a last "and".

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
