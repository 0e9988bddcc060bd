"""How are the calls recorded to a family listed?"""

from __future__ import annotations

from datetime import date

from dash import html
from dash.development.base_component import Component

from dashboard.call_state.views import CallMade
from dashboard.layout import ids, words
from dashboard.layout.attributes import takes_back


def calls_made(calls: tuple[CallMade, ...], as_of: date, *, can_take_back: bool) -> Component:
    """Calls, newest first; with `can_take_back` each has a button that does so."""
    return html.Ul([_call(c, as_of, can_take_back=can_take_back) for c in calls], className="made")


def _call(call: CallMade, as_of: date, *, can_take_back: bool) -> Component:
    reached = "reached" if call.reached else "nobody reached"
    listed = words.short_day(call.recheck_on, as_of)
    made = html.Strong(words.short_day(call.made_on, as_of))
    parts: list[Component] = [
        html.P([made, f", {call.made_by}: {reached}; list again from {listed}"])
    ]
    if call.agreed:
        parts.append(html.P(call.agreed, className="agreed"))
    if can_take_back:
        parts.append(
            html.Button(
                "Take this call back",
                type="button",
                className="quiet-action",
                **takes_back(call.row, ids.TAKE_BACK),
            )
        )
    return html.Li(parts)
