"""How are annotations of the rates listed, and written by who may?"""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.layout import ids, words
from dashboard.layout.attributes import keyed, sends, takes_back
from dashboard.layout.cards import scrolled
from dashboard.layout.static import input_field
from dashboard.rates.queries.annotations import ALL_SITES, MOST_CHARACTERS
from dashboard.rates.views import Annotating, Annotation

HEADS = ("Mark", "Day", "Site", "What happened", "Written by")
NAME = "What happened when"


def written_beside(found: tuple[Annotation, ...], writing: Annotating | None) -> list[Component]:
    """A table of what was written, newest last as on the chart, and a form where one may write."""
    parts: list[Component] = [html.H2(NAME)]
    if found:
        rows = [_row(one, can_withdraw=_may_withdraw(one, writing)) for one in found]
        heads = [html.Th(head, scope="col") for head in HEADS]
        if writing is not None:
            heads.append(html.Th(html.Span("Withdraw", className="unseen"), scope="col"))
        table = html.Table(
            [html.Thead(html.Tr(heads)), html.Tbody(rows)], className="plain told annotated"
        )
        parts.append(scrolled(f"{NAME}: marks on the chart", table))
    else:
        parts.append(html.P("Nothing is written beside the rates."))
    return parts if writing is None else [*parts, _form(writing)]


def _may_withdraw(one: Annotation, writing: Annotating | None) -> bool | None:
    return None if writing is None else (one.site or ALL_SITES) in writing.sites


def _row(one: Annotation, *, can_withdraw: bool | None) -> Component:
    cells = [
        html.Th(one.mark, scope="row"),
        html.Td(words.day_year(one.on)),
        html.Td(one.site or "all sites"),
        html.Td(one.text, className="words"),
        html.Td(f"{one.made_by}, {words.day_year(one.made_on)}", className="received"),
    ]
    if can_withdraw is not None:
        button = html.Button(
            [html.Span("Withdraw"), html.Span(f" mark {one.mark}: {one.text}", className="unseen")],
            type="button",
            className="quiet-action small",
            **takes_back(one.row, ids.WITHDRAW),
            **keyed(f"withdraw-{one.row}"),
        )
        cells.append(html.Td(button if can_withdraw else "", className="source-way screen"))
    return html.Tr(cells)


def _form(writing: Annotating) -> Component:
    sites = [html.Option(site or "all sites", value=site) for site in writing.sites]
    text = input_field(
        id="annotation-text",
        name="text",
        type="text",
        maxLength=MOST_CHARACTERS,
        autoComplete="off",
        required=True,
    )
    day = input_field(
        id="annotation-day",
        name="on_day",
        type="date",
        value=writing.as_of,
        max=writing.as_of,
        required=True,
    )
    return html.Form(
        [
            html.Div([html.Label("Day", htmlFor="annotation-day"), day]),
            html.Div(
                [
                    html.Label("Site", htmlFor="annotation-site"),
                    html.Select(sites, id="annotation-site", name="site"),
                ]
            ),
            html.Div(
                [
                    html.Label(
                        ["What happened ", html.Span("no names", className="hint")],
                        htmlFor="annotation-text",
                    ),
                    text,
                ],
                className="wide",
            ),
            html.Button("Write it beside the rates", type="submit", className="quiet-action"),
        ],
        className="form annotating screen",
        **sends(ids.ANNOTATE),
    )
