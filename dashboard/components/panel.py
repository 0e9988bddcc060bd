"""What is shown of the opened family: why it is called, the proof, the form, earlier calls."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.address import family_address, write_choice
from dashboard.components.attributes import in_page
from dashboard.components.bands import band_mark
from dashboard.components.calls_made import calls_made
from dashboard.components.source import source_row
from dashboard.views import Choice, Opened, ReasonWithRows

AGREED_ROWS = 4
DATE: Any = "date"
"""The browser's own field for a date; Dash passes the type on without naming it."""


def panel(opened: Opened, choice: Choice, message: str | None) -> list[Component]:
    """The whole panel of one family."""
    row = opened.row
    back = write_choice(replace(choice, family_id=None))
    return [
        html.P(html.A("Back to the list", href=back, **in_page()), className="back"),
        html.Header(
            [
                html.H2(
                    ["Family ", html.Span(row.family_id, className="code")],
                    id="panel-name",
                    tabIndex=-1,
                ),
                html.P(
                    [band_mark(row.band), words.BANDS[row.band].title],
                    className=f"band band-{row.band}",
                ),
                html.P(
                    [
                        html.A("Whole history", href=family_address(row.family_id)),
                        *(
                            [html.A("Record a call", href="#record")]
                            if opened.standing.records_calls
                            else []
                        ),
                    ],
                    className="ways",
                ),
            ]
        ),
        *([] if message is None else [_said(message, opened, choice)]),
        *_why(opened),
        *_reach(opened),
        *(_form(opened) if opened.standing.records_calls else [_past()]),
        *_made(opened),
    ]


def _said(message: str, opened: Opened, choice: Choice) -> Component:
    after: list[Component] = [html.P(message)]
    if opened.next_family_id is not None:
        to = write_choice(replace(choice, family_id=opened.next_family_id))
        after.append(
            html.P(
                html.A(
                    f"Next: family {opened.next_family_id}",
                    href=to,
                    **in_page(opens=True),
                )
            )
        )
    return html.Div(after, className="said", role="status", id="panel-said", tabIndex=-1)


def _why(opened: Opened) -> list[Component]:
    if not opened.reasons:
        return [html.H3("Why"), html.P("No reason to call is known on this day.")]
    return [
        html.H3("Why"),
        html.Ol(
            [_reason(r, first=at == 0) for at, r in enumerate(opened.reasons)], className="reasons"
        ),
    ]


def _reason(found: ReasonWithRows, *, first: bool) -> Component:
    reason = found.reason
    line = [html.Span(f"Line {reason.line_id}", className="line-code")] if reason.line_id else []
    parts: list[Component] = [html.P([html.Span(words.sentence(reason.sentence)), *line])]
    if found.sources:
        count = len(found.sources) + found.sources_left_out
        summary = "the row that proves it" if count == 1 else f"the {count} rows that prove it"
        shown: list[Component] = [source_row(s) for s in found.sources]
        if found.sources_left_out:
            left = words.counted(found.sources_left_out, "earlier row", "earlier rows")
            shown.append(html.P(f"{left}: see the whole history of this family."))
        parts.append(html.Details([html.Summary(f"Show {summary}"), *shown], open=first))
    else:
        parts.append(
            html.P("No row proves an absence: this reason is what is missing.", className="where")
        )
    return html.Li(parts)


def _reach(opened: Opened) -> list[Component]:
    if opened.contact is None and opened.language is None:
        return []
    said: list[Any] = []
    if opened.contact is not None:
        said += [html.Strong(opened.contact), " "]
    if opened.language is not None:
        said.append(f"Language: {opened.language}")
    return [html.H3("How to reach the family"), html.P(said)]


def _past() -> Component:
    return html.P(
        "This is a look at a past day. Calls are recorded on today's list.", className="where"
    )


def _form(opened: Opened) -> list[Component]:
    return [
        html.H3("Record a call", id="record"),
        html.Div(
            [
                dcc.Store(id=ids.FORM_FAMILY, data=opened.row.family_id),
                _field(
                    "Your staff code",
                    ids.MADE_BY,
                    dcc.Input(
                        id=ids.MADE_BY,
                        type="text",
                        maxLength=40,
                        autoComplete="off",
                        persistence=True,
                        persistence_type="local",
                    ),
                    "remembered on this machine",
                ),
                html.Fieldset(
                    [
                        html.Legend("Was somebody reached?"),
                        dcc.RadioItems(
                            id=ids.REACHED,
                            options=[
                                {"label": "Yes, spoke with the family", "value": "yes"},
                                {"label": "No, nobody reached", "value": "no"},
                            ],
                        ),
                    ]
                ),
                _field(
                    "What was agreed",
                    ids.AGREED,
                    dcc.Textarea(id=ids.AGREED, rows=AGREED_ROWS, maxLength=2000),
                    "no names, no contacts",
                ),
                _field(
                    "List again from",
                    ids.RECHECK_ON,
                    dcc.Input(id=ids.RECHECK_ON, type=DATE, value=opened.recheck_on.isoformat()),
                    "a new red flag, compromised dressing or skin finding lists it sooner",
                ),
                html.P("", id=ids.RECORD_FAULT, role="alert", className="fault"),
                html.Button(
                    "Record the call", id=ids.RECORD, type="button", className="main-action"
                ),
            ],
            className="form",
        ),
    ]


def _field(label: str, field_id: str, field: Component, hint: str) -> Component:
    return html.Div(
        [html.Label(label, htmlFor=field_id), field, html.P(hint, className="hint")],
        className="field",
    )


def _made(opened: Opened) -> list[Component]:
    if not opened.calls:
        return []
    return [
        html.H3("Calls recorded"),
        calls_made(
            opened.calls, opened.standing.as_of, can_take_back=opened.standing.records_calls
        ),
        html.P("", id=ids.TAKE_BACK_FAULT, role="alert", className="fault"),
    ]
