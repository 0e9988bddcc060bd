"""How are a family, its lines and its people put into words?"""

from __future__ import annotations

from datetime import date

from dashboard.family.history import LATE_DAYS
from dashboard.family.views import CaregiverView, FamilyView, LineView
from dashboard.layout import words

MOST_CHARACTERS = 240
"""Longer notes are cut in the table; the log entry has the whole note."""


def facts(view: FamilyView) -> list[tuple[str, str]]:
    """What is known of the family, each a term and its text."""
    row, as_of = view.row, view.as_of
    known = [
        ("Children", words.listed(sorted({line.child_id for line in view.lines}))),
        ("Nurse", words.listed(list(row.nurses)) or "not recorded"),
        ("Site", words.listed(list(row.sites)) or "no line at home"),
        ("Last heard from", last_heard(view)),
    ]
    if row.recheck_on is not None:
        known.append(("Call again on", words.short_day(row.recheck_on, as_of)))
    if view.contact is not None:
        known.append(("Contact", view.contact))
    if view.language is not None:
        known.append(("Language", view.language))
    return known


def last_heard(view: FamilyView) -> str:
    """When the family last logged anything."""
    row, as_of = view.row, view.as_of
    if row.last_heard_on is None:
        return "no log entries yet; care may have been done but not recorded"
    text = f"{words.ago(row.last_heard_on, as_of)} ({words.short_day(row.last_heard_on, as_of)})"
    return f"{text}; care may have been done but not recorded" if row.silent else text


def caregiver(person: CaregiverView, as_of: date) -> tuple[str, str, str]:
    """Code, relation and latest sign-off of a caregiver."""
    signed = "no sign-off recorded"
    if person.signed_on is not None:
        day = words.short_day(person.signed_on, as_of)
        signed = f"{words.plain(person.outcome or 'outcome not recorded')}, {day}"
    relation = words.plain(person.relation) if person.relation else "not recorded"
    return person.caregiver_id, relation, signed


def line_kind(line: LineView) -> str:
    """What kind of line it is, in words."""
    return words.LINE_TYPES.get(line.line_type, words.plain(line.line_type))


def line_about(line: LineView, as_of: date) -> str:
    """Child, days, therapy, site and nurse of a line."""
    parts = [
        f"Child {line.child_id}",
        f"placed {words.short_day(line.placed_on, as_of)}",
        f"home from {words.short_day(line.home_from, as_of)}",
        words.plain(line.therapy) if line.therapy else None,
        line.site,
        line.nurse,
    ]
    return " · ".join(part for part in parts if part)


def line_ended(line: LineView, as_of: date) -> str:
    """An ended line and when it ended."""
    on = words.short_day(line.end_on, as_of) if line.end_on else "a day not recorded"
    return f"line {line.line_id} ({line_kind(line)}, child {line.child_id}) on {on}"


def line_summary(line: LineView, as_of: date) -> str:
    """The state of a line's dressing, in a sentence or two."""
    changed = "no change is known"
    if line.last_change_on:
        changed = f"last changed {words.short_day(line.last_change_on, as_of)}"
    until = words.short_day(line.allowed_until, as_of) if line.allowed_until else None
    days = words.counted(line.days_overdue, "day", "days")
    change_now = f"It was due to be changed by {until}, {days} ago."
    if not line.days_overdue:
        change_now = "It is due to be changed today."
    in_date = f"The dressing is in date until {until}: {changed}."
    if until is None:
        in_date = f"No dressing change is due by the calendar: {changed}."
    states = {
        "not_at_home": "The child is not at home; nothing is due from the family.",
        "not_accessed": "The port is not accessed; no dressing is due.",
        "unknown": f"It is not known whether the dressing is in date: {changed}.",
        "compromised": (
            "The dressing was found loose, damp or soiled, and no change has been logged since. "
            f"{change_now}"
        ),
        "overdue": f"The dressing is {days} overdue: {changed}, due by {until}.",
        "due_today": f"The dressing is due today: {changed}.",
        "in_date": in_date,
    }
    return states[line.state]


def days(on: date, until: date | None) -> str:
    """A day, or the first and last day of a span."""
    first = words.day_year(on)
    return first if until is None else f"{first} to {words.day_year(until)}"


def cut(label: str) -> str:
    """A label, cut where it is long."""
    return label if len(label) <= MOST_CHARACTERS else f"{label[:MOST_CHARACTERS]} …"


def received(on: date, received_on: date | None) -> str:
    """How long after its day an entry was received."""
    if received_on is None:
        return ""
    later = (received_on - on).days
    if later <= 0:
        return "same day"
    text = f"{words.counted(later, 'day', 'days')} later"
    return f"{text}, {words.day_year(received_on)}" if later > LATE_DAYS else text
