"""How does a person assign the opened family, set it aside, and see what was arranged?"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.calls.queries.arrangements import LONGEST_ASIDE_DAYS, MOST_REASON_CHARACTERS
from dashboard.calls.views import Arranged, Opened
from dashboard.layout import ids, words
from dashboard.layout.attributes import instead_of, sends, takes_back
from dashboard.layout.fields import choice_field, field
from dashboard.layout.static import input_field

SAME_DAY = (
    "A family in same-day review is not set aside: a red flag is answered by a call that reaches "
    "the family."
)


def arranged(opened: Opened) -> list[Component]:
    """What holds of what was arranged, each with a way to take it back; nothing where none is."""
    if not opened.arranged:
        return []
    rows = [_arranged(a, opened) for a in opened.arranged]
    return [html.H3("Arranged"), html.Ul(rows, className="made")]


def _arranged(made: Arranged, opened: Opened) -> Component:
    as_of = opened.context.as_of
    on = words.short_day(made.made_at.date(), as_of)
    if made.until_on is None:
        said: list[Any] = [
            html.Strong(f"Assigned to {made.assigned_to}"),
            f" by {made.made_by}, {on}",
        ]
    else:
        until = words.short_day(made.until_on, as_of)
        said = [html.Strong(f"Set aside until {until}"), f" by {made.made_by}, {on}"]
    parts: list[Component] = [html.P(said)]
    if made.reason:
        parts.append(html.P(made.reason, className="agreed"))
    if opened.context.records_calls:
        parts.append(
            html.Button(
                "Take this back",
                type="button",
                className="quiet-action",
                **takes_back(made.row, ids.TAKE_BACK_ARRANGED),
            )
        )
    return html.Li(parts)


def arranging(opened: Opened) -> list[Component]:
    """The two forms, folded until they are wanted."""
    return [
        html.H3("Arrange"),
        html.Details(
            [html.Summary("Assign the next call to somebody"), _assign(opened)], id="assign"
        ),
        html.Details([html.Summary("Set aside until a day"), _set_aside(opened)], id="set-aside"),
    ]


def _hidden(opened: Opened, kind: str) -> list[Any]:
    values = {"family_id": opened.row.family_id, "form": f"{opened.form}-{kind}", "kind": kind}
    return [input_field(type="hidden", name=name, value=value) for name, value in values.items()]


def _assign(opened: Opened) -> Component:
    row = opened.row
    chosen = row.assigned_to or next(iter(row.nurses), opened.context.reader.code)
    own = words.listed(list(row.nurses)) or "nobody recorded"
    return html.Form(
        [
            *_hidden(opened, "assigned"),
            field(
                "Who makes the next call",
                f"caseload: {own}; holds until a call reaches the family",
                choice_field("assigned_to", "assigned-to", opened.callers, chosen),
            ),
            html.Button("Assign", type="submit", className="quiet-action"),
        ],
        className="form",
        noValidate=True,
        **sends(ids.ARRANGE),
    )


def _set_aside(opened: Opened) -> Component:
    if opened.row.band == "same_day_review":
        return html.P(SAME_DAY, className="where", tabIndex=-1, **instead_of("until-on"))
    tomorrow = opened.context.as_of + timedelta(days=1)
    last = opened.context.as_of + timedelta(days=LONGEST_ASIDE_DAYS)
    return html.Form(
        [
            *_hidden(opened, "set_aside"),
            field(
                "Listed again from",
                "a new red flag, compromised dressing or skin finding lists it sooner",
                input_field(
                    type="date",
                    name="until_on",
                    id="until-on",
                    value=tomorrow.isoformat(),
                    min=tomorrow.isoformat(),
                    max=last.isoformat(),
                ),
            ),
            field(
                "Why",
                "no names, no contacts",
                input_field(
                    type="text",
                    name="reason",
                    id="aside-reason",
                    maxLength=MOST_REASON_CHARACTERS,
                    autoComplete="off",
                ),
            ),
            html.Button("Set the family aside", type="submit", className="quiet-action"),
        ],
        className="form",
        noValidate=True,
        **sends(ids.ARRANGE),
    )
