"""How does one line stand, said in a sentence or two?"""

from __future__ import annotations

from datetime import date

from dash import html
from dash.development.base_component import Component

from dashboard.family.views import LineView
from dashboard.layout import words


def line_state(line: LineView, as_of: date) -> Component:
    """A line's name, what it is and how its dressing stands."""
    kind = line_kind(line)
    return html.Section(
        [
            html.H2([f"Line {line.line_id}", html.Span(f" {kind}", className="of")]),
            html.P(_about(line, as_of), className="about"),
            html.P(summary_of(line, as_of), className="summary"),
        ],
        className="line-state",
    )


def ended_words(line: LineView, as_of: date) -> str:
    """An ended line and when it ended."""
    on = words.short_day(line.end_on, as_of) if line.end_on else "a day not recorded"
    return f"line {line.line_id} ({line_kind(line)}, child {line.child_id}) on {on}"


def line_kind(line: LineView) -> str:
    """What kind of line it is, in words."""
    return words.LINE_TYPES.get(line.line_type, words.plain(line.line_type))


def _about(line: LineView, as_of: date) -> str:
    parts = [
        f"Child {line.child_id}",
        f"placed {words.short_day(line.placed_on, as_of)}",
        f"home from {words.short_day(line.home_from, as_of)}",
        words.plain(line.therapy) if line.therapy else None,
        line.site,
        line.nurse,
    ]
    return " · ".join(part for part in parts if part)


def summary_of(line: LineView, as_of: date) -> str:
    """How the dressing of a line stands, in a sentence or two."""
    changed = "no change is known"
    if line.last_change_on:
        changed = f"last changed {words.short_day(line.last_change_on, as_of)}"
    until = words.short_day(line.allowed_until, as_of) if line.allowed_until else None
    days = words.counted(line.days_overdue, "day", "days")
    change_now = f"It had to be changed by {until}, {days} ago."
    if not line.days_overdue:
        change_now = "It has to be changed today."
    in_date = f"The dressing is in date until {until}: {changed}."
    if until is None:
        in_date = f"No dressing change is due by the calendar: {changed}."
    said = {
        "not_at_home": "The child is not at home; nothing is due from the family.",
        "not_accessed": "The port is not accessed; no dressing is due.",
        "unknown": f"Whether the dressing is in date is not known: {changed}.",
        "compromised": (
            f"The dressing was found loose, damp or soiled, and no change is logged since. {change_now}"
        ),
        "overdue": f"The dressing is {days} overdue: {changed}, allowed until {until}.",
        "due_today": f"The dressing is due today: {changed}.",
        "in_date": in_date,
    }
    return said[line.state]
