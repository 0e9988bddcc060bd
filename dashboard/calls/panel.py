"""What is shown of the opened family: why it is called, the proof, the form, earlier calls."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.addresses.calls import Choice, write_choice
from dashboard.addresses.family import family_address
from dashboard.call_state.bands import band_name
from dashboard.call_state.calls_made import calls_made
from dashboard.calls.arranging import arranged, arranging
from dashboard.calls.queries.call_form import MOST_CHARACTERS
from dashboard.calls.views import News, Opened, ReasonWithRows
from dashboard.evidence.source_rows import source_row
from dashboard.layout import ids, words
from dashboard.layout.attributes import in_page, sends, takes_back
from dashboard.layout.fields import field
from dashboard.layout.static import input_field, static, text_field

AGREED_ROWS = 4


def panel(opened: Opened, choice: Choice, news: News | None) -> Component:
    """The whole panel of one family."""
    records_calls = opened.context.records_calls
    return static(
        _name(opened, choice),
        None if news is None else _said(news, opened, choice),
        _why(opened),
        arranged(opened),
        _made(opened),
        _reach(opened),
        _form(opened) if records_calls else _past(),
        arranging(opened) if records_calls else None,
    )


def _name(opened: Opened, choice: Choice) -> list[Component]:
    row = opened.row
    back = write_choice(replace(choice, family_id=None))
    ways = [html.A("Whole history", href=family_address(row.family_id))]
    if opened.context.records_calls:
        ways.append(html.A("Record a call", href="#record"))
    code = html.Span(row.family_id, className="code")
    return [
        html.P(html.A("Back to the list", href=back, **in_page()), className="back"),
        html.Header(
            [
                html.H2(["Family ", code], id="panel-name", tabIndex=-1),
                band_name(row.band),
                html.P(ways, className="ways"),
            ]
        ),
    ]


def _said(news: News, opened: Opened, choice: Choice) -> Component:
    after: list[Component] = [html.P(news.message)]
    newest = _newest(opened) if news.can_take_back else None
    if newest is not None:
        after.append(
            html.Button(
                "Take it back", type="button", className="quiet-action small", **takes_back(*newest)
            )
        )
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


def _newest(opened: Opened) -> tuple[int, str] | None:
    """What was recorded of the family last: its row, and the store that takes it back."""
    acts = [(c.made_at, c.row, ids.TAKE_BACK) for c in opened.calls]
    acts += [(a.made_at, a.row, ids.TAKE_BACK_ARRANGED) for a in opened.arranged]
    return max(acts)[1:] if acts else None


def _why(opened: Opened) -> list[Component]:
    if not opened.reasons:
        return [html.H3("Why"), html.P("No reason to call is known on this day.")]
    expected = opened.row.expected
    return [
        html.H3("Why"),
        html.Ol(
            [_reason(r, first=at == 0) for at, r in enumerate(opened.reasons)], className="reasons"
        ),
        *([] if expected is None else [html.P(words.sentence(expected), className="expected")]),
    ]


def _reason(found: ReasonWithRows, *, first: bool) -> Component:
    reason = found.reason
    line: list[Any] = []
    if reason.line_id:
        line = [" ", html.Span(f"Line {reason.line_id}", className="line-code")]
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


def _made(opened: Opened) -> list[Component]:
    if not opened.calls:
        return []
    as_of, can_record = opened.context.as_of, opened.context.records_calls
    return [
        html.H3("Calls recorded"),
        calls_made(opened.calls, as_of, can_take_back=can_record),
    ]


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


def _form(opened: Opened) -> list[Any]:
    """A plain form; the page's script hands what is typed to the callback as one thing."""
    return [
        html.H3("Record a call", id="record"),
        html.Form(
            [
                input_field(type="hidden", name="family_id", value=opened.row.family_id),
                input_field(type="hidden", name="form", value=opened.form),
                html.P(
                    [
                        "Recorded as ",
                        html.Strong(opened.context.reader.code),
                        ", who is signed in.",
                    ],
                    className="recorded-as",
                ),
                html.Fieldset(
                    [
                        html.Legend("Was somebody reached?"),
                        _choice("yes", "Yes, spoke with the family"),
                        _choice("no", "No, nobody reached"),
                    ]
                ),
                field(
                    "What was agreed",
                    "no names, no contacts",
                    text_field(
                        name="agreed",
                        id="agreed",
                        rows=AGREED_ROWS,
                        maxLength=MOST_CHARACTERS,
                        autoComplete="off",
                    ),
                ),
                field(
                    "List again from",
                    "a new red flag, compromised dressing or skin finding lists it sooner",
                    input_field(
                        type="date",
                        name="recheck_on",
                        id="recheck-on",
                        value=opened.recheck_on.isoformat(),
                    ),
                ),
                html.Button("Record the call", type="submit", className="main-action"),
            ],
            className="form",
            noValidate=True,
            **sends(ids.RECORD),
        ),
    ]


def _choice(value: str, label: str) -> Component:
    button = input_field(type="radio", name="reached", value=value, id=f"reached-{value}")
    return html.Label([button, label])
