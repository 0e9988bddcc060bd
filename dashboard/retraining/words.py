"""How are retraining needs worded? One sentence a function."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from dashboard.layout import words
from dashboard.layout.words import percent
from dashboard.retraining.session_views import Session
from dashboard.retraining.views import NeedRow, NeedsView


@dataclass(frozen=True)
class Level:
    """A level of certainty: its title and what to make of it."""

    title: str
    meaning: str


SURENESS = {
    "sure": Level("Very likely above the limit", "Probability 95 % or more: retrain these first."),
    "likely": Level(
        "Likely above the limit",
        "Probability 80 % to 95 %, or the latest five in a row missed: check the log entries, then "
        "ask.",
    ),
    "watch": Level(
        "Recently retrained, watch",
        "A refresher in the last months: the changes since then neither call for another nor show "
        "that it helped.",
    ),
    "improved": Level("Improved", "Clearly less is missed since the refresher than before it."),
    "open": Level(
        "Not clearly above the limit", "Probability under 80 %: what was missed may be chance."
    ),
}
LIKELY = 0.8
"""From this probability on the analysis calls a share likely above its limit."""
STROKES = {"sure": 3, "likely": 2, "watch": 1, "improved": 1, "open": 1}
SKILLS = {
    "dressing_change": "dressing change",
    "connector_change": "connector change",
    "flush": "flush",
    "needle_change": "needle change",
}
OUTCOMES = {"independent": "independent", "with_help": "with help", "not_yet": "not yet able"}
NOT_NAMED = "caregiver not named in the log"
SHRINKAGE_NOTE = (
    "Each caregiver's rate is adjusted for small numbers, towards the programme average of that "
    "step, so that one bad week is not a bad caregiver. A step is missed too often when its rate "
    "is above the limit."
)
LOGGED_NOTE = (
    "Only logged entries are counted, and a blank self-check counts as neither. Care that was not "
    "logged may still have been done."
)

_MISSED = {
    "early_failure": "{m} of {n} came loose, damp or soiled early",
    "skin_after_change": "a skin finding within 3 days after {m} of {n}",
    "late_change": "late {m} of {n}",
    "no_sign_off": "{m} of {n} without a current sign-off",
}
_OCCASION = {
    "early_failure": ("dressing put on", "dressings put on"),
    "skin_after_change": ("change", "changes"),
    "late_change": ("time", "times"),
    "no_sign_off": ("change", "changes"),
}


def missed_words(step: str, missed: int, seen: int) -> str:
    """How often a step was missed, out of how many occasions.

    Examples
    --------
    >>> missed_words("mask", 4, 9), missed_words("late_change", 1, 1)
    ('left out in 4 of 9 self-checks', 'late 1 of 1 time')
    >>> missed_words("skin_after_change", 2, 30)
    'a skin finding within 3 days after 2 of 30 changes'
    """
    if step not in _MISSED:
        checks = "self-check" if seen == 1 else "self-checks"
        return f"left out in {words.thousands(missed)} of {words.thousands(seen)} {checks}"
    occasions = words.counted(seen, *_OCCASION[step])
    return _MISSED[step].format(m=words.thousands(missed), n=occasions)


def evidence_words(step: str, missed: int, seen: int, since: date | None, *, as_of: date) -> str:
    """What the log shows of a step; `since`: first day of the recent evidence.

    Examples
    --------
    >>> on = date(2031, 3, 4)
    >>> evidence_words("mask", 4, 9, date(2030, 12, 1), as_of=on)
    'left out in 4 of 9 self-checks since 1 Dec 2030.'
    >>> evidence_words("mask", 4, 9, None, as_of=on)
    'left out in 4 of 9 self-checks before the last refresher.'
    """
    when = (
        "before the last refresher" if since is None else f"since {words.short_day(since, as_of)}"
    )
    return f"{missed_words(step, missed, seen)} {when}."


def session_title(session: Session) -> str:
    """What a training session is called: its day, its time and its place."""
    time = f", {session.starts_at}" if session.starts_at else ""
    venue = f", {session.venue}" if session.venue else ""
    return f"Training session of {words.day_year(session.held_on)}{time}{venue}"


def probability(value: Any) -> str:
    """A probability in whole per cent; near 0 and 1 in words.

    Examples
    --------
    >>> probability(0.9999), probability(0.953), probability(0.0001)
    ('over 99 %', '95 %', 'under 1 %')
    """
    if pd.isna(value):
        return "–"
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * float(value):.0f} %"


def how_sure(row: NeedRow) -> str:
    """How certain it is that a step is missed too often, in words and a number."""
    if row.sureness in ("watch", "improved"):
        counts = (row.seen, row.missed, row.seen_before, row.missed_before)
        return words.need_words(row.state, *counts)
    if row.state == "retrain" and row.prob < LIKELY:
        return f"the latest {row.missed_in_row} missed in a row"
    word = {"sure": "very likely", "likely": "likely", "open": "not clearly"}
    return (
        f"{word[row.sureness]} above the limit of {percent(row.limit)} "
        f"(probability {probability(row.prob)})"
    )


def who(row: NeedRow) -> str:
    """The caregiver, or that the log does not name one."""
    return f"caregiver {row.caregiver_id}" if row.caregiver_id else NOT_NAMED


def heard_of(view: NeedsView) -> str:
    """How many families logged a self-check."""
    return (
        f"{words.thousands(view.self_checked)} of "
        f"{words.counted(view.families, 'family', 'families')} with a line in place logged a "
        f"self-check. {LOGGED_NOTE}"
    )


def refreshed(row: NeedRow, as_of: date) -> str:
    """When the caregiver had the last refresher."""
    if row.refreshed_on is None:
        return "none"
    return words.short_day(row.refreshed_on, as_of)


def pairs(number: int) -> str:
    """How many caregivers and steps, each together."""
    return words.counted(number, "caregiver-step pair", "caregiver-step pairs")
