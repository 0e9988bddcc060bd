"""How are the calls recorded on the day listed: who was called, what came of it, what next?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.calls import write_choice
from dashboard.calls.views import CallDone, CallsView
from dashboard.layout import ids, words
from dashboard.layout.attributes import aria, in_page, takes_back

HEADS = ("Family", "What came of it", "Listed again")


def calls_done(view: CallsView) -> Component | None:
    """The section of calls done; None where another part of the list is shown."""
    asked_alone = view.choice.band == words.DONE
    if not view.done and not asked_alone:
        return None
    count = words.counted(view.done_count, "call", "calls")
    head: list[Any] = [words.DONE_TITLE, html.Span(f" {count}", className="of")]
    return html.Section(
        [
            html.H2(head, id="done-title"),
            _about(view),
            _table(view) if view.done else html.P("No call is recorded today.", className="empty"),
        ],
        className="done",
        **aria(labelledby="done-title"),
    )


def _about(view: CallsView) -> Component | None:
    if len(view.done) == view.done_count:
        return None
    to = replace(view.choice, band=words.DONE, page=1, family_id=None)
    every = words.counted(view.done_count, "call", "calls")
    return html.P(
        [
            f"The newest {len(view.done)}. ",
            html.A(f"All {every} of today", href=write_choice(to), **in_page()),
        ],
        className="where",
    )


def _table(view: CallsView) -> Component:
    can_take_back = view.context.records_calls
    heads = [html.Th(h, scope="col") for h in HEADS]
    if can_take_back:
        heads.append(html.Th(html.Span("Take back", className="unseen"), scope="col"))
    rows = [_row(call, view, can_take_back=can_take_back) for call in view.done]
    return html.Div(
        html.Table(
            [
                html.Caption("Calls recorded today, newest first", className="unseen"),
                html.Thead(html.Tr(heads)),
                html.Tbody(rows),
            ],
            className="plain",
        ),
        className="scroll",
    )


def _row(call: CallDone, view: CallsView, *, can_take_back: bool) -> Component:
    to = write_choice(replace(view.choice, family_id=call.family_id))
    came: list[Any] = [
        html.Span(
            f"{call.made_at:%H:%M}, {call.made_by}: "
            + ("spoke with the family" if call.reached else "nobody reached")
        )
    ]
    if call.agreed:
        came.append(html.Span(call.agreed, className="agreed about"))
    cells = [
        html.Th(
            html.A(call.family_id, href=to, className="code", **in_page(opens=True)), scope="row"
        ),
        html.Td(came),
        html.Td(_again(call, view)),
    ]
    if can_take_back:
        button = html.Button(
            ["Take back", html.Span(f" the call to family {call.family_id}", className="unseen")],
            type="button",
            className="quiet-action small",
            **takes_back(call.row, ids.TAKE_BACK),
        )
        cells.append(html.Td(button))
    return html.Tr(cells)


def _again(call: CallDone, view: CallsView) -> str:
    """When the family is listed again, or that it is listed now."""
    if call.band in words.BANDS_TO_CALL:
        return f"listed now: {words.BANDS[call.band].title.lower()}"
    if call.band == "set_aside":
        return "set aside"
    return f"from {words.short_day(call.recheck_on, view.context.as_of)}"
