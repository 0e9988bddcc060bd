"""How is the call list put into words?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from dashboard.call_state.views import CallRow
from dashboard.calls.views import CallDone, CallsView
from dashboard.layout import words

SENTENCES = 1
"""Reasons shown of each family on a screen; the panel and the printed list have all of them."""


def also(row: CallRow) -> str:
    """The reasons after those shown in whole sentences, by their short names.

    A name counts once: a family with two lines may have the same reason twice. How long a family
    logged nothing is in a column of its own.
    """
    rest = [code for code in row.reasons[SENTENCES:] if code != "silent"]
    names = dict.fromkeys(words.REASONS[code] for code in rest)
    return f"Also: {', '.join(names)}." if names else ""


def nobody_to_call(view: CallsView) -> str:
    """The page's answer when no family needs a call."""
    chosen = [c for c in (view.choice.of_nurse, view.choice.site, view.choice.language) if c]
    whose = f" for {words.listed(chosen)}" if chosen else ""
    waiting = view.counts["waiting"]
    after = f" {words.counted(waiting, 'family is', 'families are')} waiting." if waiting else ""
    return f"No families to call{whose}.{after}"


def not_there(view: CallsView) -> str:
    """What the address asks for that there is not among the families of this page, if anything."""
    choice = view.choice
    asked = (
        ("nurse", choice.of_nurse, view.nurses),
        ("site", choice.site, view.sites),
        ("language", choice.language, view.languages),
    )
    wrong = [
        f"{name} \u201c{value}\u201d"
        for name, value, known in asked
        if value and value not in known
    ]
    if wrong:
        return f"No family with a line at home has the {words.listed(wrong)}. Choose from the list."
    if choice.band and choice.band not in (*words.BANDS_SHOWN, words.DONE, words.AHEAD):
        return f"No part of the list is called \u201c{choice.band}\u201d, so all families to call are shown."
    return ""


def nothing(view: CallsView) -> str:
    """What is shown in place of an empty list."""
    choice = view.choice
    if any((choice.of_nurse, choice.site, choice.language, choice.band)):
        return "No families match these filters. Choose All to see everybody."
    return "No families to call, waiting or postponed."


def coverage(view: CallsView) -> str:
    """How many families have logged nothing for long, and what that means for the list."""
    have = "has" if view.families_silent == 1 else "have"
    return (
        f"{words.thousands(view.families_silent)} of "
        f"{words.counted(view.families_at_home, 'family', 'families')} with a line at home {have} "
        f"not logged anything for over {view.silent_after_days} days, so care that looks overdue "
        "may have been done but not recorded."
    )


def print_line(view: CallsView) -> str:
    """Which part of the list a print shows."""
    choice = view.choice
    whose = f"Nurse: {choice.of_nurse or 'all'}. Site: {choice.site or 'all'}."
    if choice.language:
        whose += f" Language: {choice.language}."
    band = words.BANDS[choice.band].title if choice.band in words.BANDS else "all to call"
    part = f" Families {rows_shown(view)}." if view.pages > 1 else ""
    return f"{whose} Bands: {band}.{part}"


def announcement(view: CallsView) -> str:
    """The list in one sentence, for a screen reader."""
    choice = view.choice
    if choice.band == words.DONE:
        return f"{words.counted(view.done_count, 'call', 'calls')} done today."
    if choice.band == words.AHEAD:
        changes = words.counted(view.n_ahead, "dressing change", "dressing changes")
        return f"{changes} due in the next 14 days."
    what = words.BANDS[choice.band].title.lower() if choice.band in words.BANDS else "to call"
    return f"{words.counted(view.total, 'family', 'families')} shown: {what}."


def new_red_flags(flags: Mapping[str, tuple[int, str]], before: object) -> str:
    """Red flags that are newer than those shown before, to be read aloud; blank: there is none."""
    if not isinstance(before, dict):
        return ""
    new = [
        f"New red flag: family {family}. {text}"
        for family, (row, text) in flags.items()
        if row > before.get(family, -1)
    ]
    return " ".join(new)


def rows_shown(view: CallsView) -> str:
    """Which rows of the list are on the page."""
    choice = view.choice
    first = (choice.page - 1) * choice.per_page + 1
    last = min(choice.page * choice.per_page, view.total)
    families = words.counted(view.total, "family", "families")
    return f"{words.thousands(first)} to {words.thousands(last)} of {families}"


def last_heard(row: CallRow, as_of: date) -> tuple[str, str]:
    """When the family last logged anything, and the day."""
    if row.last_heard_on is None:
        return "no log entries yet", f"{words.counted(row.silent_days, 'day', 'days')} at home"
    day = words.short_day(row.last_heard_on, as_of)
    if row.silent:
        return f"nothing for {words.counted(row.silent_days, 'day', 'days')}", f"last entry {day}"
    return words.ago(row.last_heard_on, as_of), day


def done_outcome(call: CallDone) -> str:
    """When a call of today was made, by which person, and whether it reached the family."""
    outcome = "reached the family" if call.reached else "no answer"
    return f"{call.made_at:%H:%M}, {call.made_by}: {outcome}"


def call_again(call: CallDone, as_of: date) -> str:
    """When a family that was called today comes back on the list."""
    if call.band in words.BANDS_TO_CALL:
        return f"on the list now: {words.BANDS[call.band].title.lower()}"
    if call.band == "set_aside":
        return "postponed"
    return f"on {words.short_day(call.recheck_on, as_of)}"


def log_entries(count: int) -> str:
    """What opens the log entries behind a reason."""
    return "Show log entry" if count == 1 else f"Show {count} log entries"
