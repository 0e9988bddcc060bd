"""How is a page turned back to what was known on an earlier day, and back to today?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.layout import words
from dashboard.layout.static import input_field

FIELD = "known-on"


def known_on_form(family_id: str, choice: FamilyChoice, now: date) -> Component:
    """A day to choose; the page then stands in its morning, as known at its end."""
    chosen = choice.known_on or now
    return html.Form(
        [
            html.Label("Known on", htmlFor=FIELD),
            input_field(id=FIELD, name="known", type="date", value=chosen, max=now, required=True),
            input_field(name="time", type="hidden", value=choice.time),
            html.Button("Turn back", type="submit", className="quiet-action"),
        ],
        action=family_address(family_id),
        method="GET",
        className="form known-on screen",
    )


def looked_back(family_id: str, choice: FamilyChoice, now: date) -> Component | None:
    """What is said over a page that does not stand on today; None where it does."""
    if choice.known_on is None:
        return None
    today = family_address(family_id, replace(choice, known_on=None, page=1))
    return html.Div(
        [
            html.P(
                [
                    html.Strong(f"As known on {words.long_day(choice.known_on)}; not today. "),
                    "What came in or was corrected later is left out.",
                ]
            ),
            html.A(
                f"Back to {words.short_day(now, choice.known_on)}", href=today, className="screen"
            ),
        ],
        className="look-back",
        role="note",
    )
