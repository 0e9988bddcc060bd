"""The words for numbers, days, bands and codes, the same on every screen and report."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from analysis.cautions import CAUTIONS as CAUTIONS

MONTHS_IN_FULL = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
MONTHS = tuple(name[:3] for name in MONTHS_IN_FULL)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NOT_NHSN = "Home line-days, not an NHSN rate."
NOT_KNOWN = "–"
HIDDEN = "hidden"


@dataclass(frozen=True)
class BandWords:
    """A band's title and what puts a family into it."""

    title: str
    meaning: str


BANDS = {
    "same_day_review": BandWords(
        "Same-day review",
        "Red flag, family not reached since. Follow your programme's emergency protocol.",
    ),
    "call_today": BandWords(
        "Call today", "Care is overdue, a dressing is compromised, or a skin finding is open."
    ),
    "call_this_week": BandWords(
        "Call this week", "No recent log entries, dressing not known, or a pattern to discuss."
    ),
    "waiting": BandWords(
        "Waiting",
        "Called. Back on the list on the date shown, or sooner after a new red flag, a loose, damp "
        "or soiled dressing, or a skin finding.",
    ),
    "set_aside": BandWords(
        "Postponed",
        "Postponed with a reason. Back on the list on the date shown, or sooner after a new red "
        "flag, a loose, damp or soiled dressing, or a skin finding.",
    ),
    "no_call": BandWords("No call needed", "No reason to call."),
}
BANDS_TO_CALL = ("same_day_review", "call_today", "call_this_week")
BANDS_SHOWN = (*BANDS_TO_CALL, "waiting", "set_aside")
LINE_TYPES = {
    "tunneled_cvc": "tunneled line",
    "nontunneled_cvc": "non-tunneled line",
    "picc": "PICC",
    "implanted_port": "implanted port",
    "other": "other line",
}
WORDS_OF_CODES = {
    **{code: name for code, name in LINE_TYPES.items() if code != "other"},
    "transparent_chg": "transparent with chlorhexidine",
}
"""Codes that are not words with underscores between them."""
SIGNALS = {
    "above_limit": "above the upper limit",
    "below_limit": "below the lower limit",
    "run_above": "the last nine all on the high side",
    "run_below": "the last nine all on the low side",
    "two_of_three_high": "two of three near the upper limit",
    "two_of_three_low": "two of three near the lower limit",
    "too_short": "too short: events closer together than usual",
    "long_without_event": "unusually long without an event",
    "run_of_short": "the last nine gaps all short: events closer together than usual",
    "run_of_long": "the last nine gaps all long: events further apart than usual",
}
REASONS = {
    "red_flag": "red flag with no call since",
    "compromised": "dressing loose, damp or soiled",
    "overdue": "dressing overdue",
    "skin_event_open": "skin finding open",
    "silent": "no recent log entries",
    "state_unknown": "dressing not known",
    "early_failures": "dressings failing early",
    "late_pattern": "changes often late",
    "kits_short": "low on kits",
    "no_sign_off": "changes without a current sign-off",
    "overdue_connector": "connector overdue",
    "overdue_needle": "needle overdue",
    "overdue_flush": "flush overdue",
}
STEPS = {
    "early_failure": "dressing fails early",
    "skin_after_change": "skin finding after a change",
    "late_change": "change late",
    "no_sign_off": "change without a sign-off",
}
NEED_STATES = {
    "retrain": "retrain",
    "watch": "recently retrained, watch",
    "too_early": "recently retrained, watch",
    "improved": "improved",
    "no_need": "no clear need",
}
"""What recent evidence shows of a caregiver and step."""
NO_SIGN_OFF_WHY = {
    "never": "never demonstrated",
    "expired": "sign-off expired",
    "with_help": "demonstrated with help",
    "not_yet": "demonstrated, not yet able",
}


def plain(code: str) -> str:
    """A code as words.

    Examples
    --------
    >>> plain("exit_site_infection"), plain("transparent_chg")
    ('exit site infection', 'transparent with chlorhexidine')
    """
    return WORDS_OF_CODES.get(code, code.replace("_", " "))


def sentence(text: str) -> str:
    """The text with a capital first letter and a full stop.

    Examples
    --------
    >>> sentence("nothing came in")
    'Nothing came in.'
    """
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def thousands(number: int) -> str:
    """A count with a narrow no-break space between thousands."""
    return f"{number:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def counted(number: int, one: str, many: str) -> str:
    """Number and noun.

    Examples
    --------
    >>> counted(1, "family", "families"), counted(0, "family", "families")
    ('1 family', '0 families')
    """
    return f"{thousands(number)} {one if number == 1 else many}"


def families(number: int) -> str:
    """Return a number of families in words."""
    return counted(number, "family", "families")


def number(value: Any) -> str:
    """Return a rate or ratio with as many digits as are meaningful.

    Examples
    --------
    >>> number(0.0414), number(1.71), number(23.96), number(200.0), number(float("nan"))
    ('0.041', '1.71', '24.0', '200', '–')
    """
    if value is None or pd.isna(value):
        return NOT_KNOWN
    if math.isinf(value):
        return "no upper limit"
    if value == 0:
        return "0"
    return f"{value:.{3 if value < 0.1 else 2 if value < 10 else 1 if value < 100 else 0}f}"


def limits(lower: Any, upper: Any) -> str:
    """Limits as a range.

    Examples
    --------
    >>> limits(0.4, 1.25)
    '0.40 to 1.25'
    """
    if pd.isna(lower) and pd.isna(upper):
        return NOT_KNOWN
    above = not pd.isna(upper) and math.isinf(upper)
    return f"{number(lower)} and more" if above else f"{number(lower)} to {number(upper)}"


def percent(share: Any) -> str:
    """Return a share as per cent.

    Examples
    --------
    >>> percent(0.894), percent(0.999), percent(1.0), percent(None)
    ('89 %', 'over 99 %', '100 %', '–')
    """
    if share is None or pd.isna(share):
        return NOT_KNOWN
    if 0.99 < share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def percents(lower: Any, upper: Any) -> str:
    """Limits of a share."""
    if pd.isna(lower) or pd.isna(upper):
        return NOT_KNOWN
    return f"{percent(lower)} to {percent(upper)}"


def short_day(day: date, as_of: date) -> str:
    """Day and month, with the year where it is not the as-of day's.

    Examples
    --------
    >>> short_day(date(2031, 3, 4), date(2031, 3, 9)), short_day(date(2030, 12, 24), date(2031, 1, 1))
    ('4 Mar', '24 Dec 2030')
    """
    year = "" if day.year == as_of.year else f" {day.year}"
    return f"{day.day} {MONTHS[day.month - 1]}{year}"


def day_year(day: date) -> str:
    """Day, month and year.

    Examples
    --------
    >>> day_year(date(2031, 3, 4))
    '4 Mar 2031'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def weekday_words(day: date) -> str:
    """Day with its weekday.

    Examples
    --------
    >>> weekday_words(date(2031, 3, 4))
    'Tue 4 Mar'
    """
    return f"{WEEKDAYS[day.weekday()][:3]} {day.day} {MONTHS[day.month - 1]}"


def long_day(day: date) -> str:
    """Day with weekday, month and year.

    Examples
    --------
    >>> long_day(date(2031, 3, 4))
    'Tuesday 4 March 2031'
    """
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS_IN_FULL[day.month - 1]} {day.year}"


def signal_words(signal: Any) -> str:
    """Return the rules of a chart that a point breaks; empty for none.

    Examples
    --------
    >>> signal_words("above_limit;run_above")
    'above the upper limit and the last nine all on the high side'
    """
    if signal is None or pd.isna(signal):
        return ""
    return listed([SIGNALS[code] for code in str(signal).split(";")])


def need_words(state: str, seen: int, missed: int, seen_before: int, missed_before: int) -> str:
    """What recent evidence shows of a caregiver and step, with the counts behind it.

    Examples
    --------
    >>> need_words("watch", 1, 0, 12, 10), need_words("retrain", 12, 10, 0, 0)
    ('recently retrained, watch (1 change since, 0 missed; before, 10 of 12)', 'retrain (10 of 12 missed)')
    """
    if state not in ("watch", "too_early", "improved"):
        return f"{NEED_STATES[state]} ({missed} of {seen} missed)"
    since = f"{counted(seen, 'change', 'changes')} since, {missed} missed"
    return f"{NEED_STATES[state]} ({since}; before, {missed_before} of {seen_before})"


def listed(words: list[str]) -> str:
    """Words with commas and a last "and".

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)


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


def text(value: Any) -> str:
    """Return a cell as text; blank for a missing value."""
    return "" if value is None or pd.isna(value) else str(value)
