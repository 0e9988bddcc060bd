"""Who opened which family, recorded a call, signed in or was refused?"""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.access_log.queries import AccessLogQueries
from dashboard.access_log.views import AccessesView, AccessRow
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.attributes import aria
from dashboard.layout.static import static
from dashboard.security.roles import PATHS, Page
from dashboard.session.session import Session

PATH = PATHS[Page.RECORD]
TITLE = "Who opened what"
HEADS = ("When", "Who", "Did what")


def layout(session: Session) -> list[Component]:
    """The newest acts of the access record."""
    queries = AccessLogQueries(session)
    view = queries.accesses()
    return shell.page(
        PATH,
        view.context,
        [
            static(
                html.H1(TITLE),
                html.P(_about(view), className="coverage"),
                _table(view)
                if view.rows
                else html.P("Nothing is recorded yet.", className="empty"),
            )
        ],
    )


def _about(view: AccessesView) -> str:
    parts = [
        "Newest first.",
        "The same person opening the same family again within ten minutes is one row.",
        "Rows are never changed or taken out.",
    ]
    if view.context.reader.sites is not None:
        parts.append("Shown are your own acts and those on families of your sites.")
    if view.more:
        parts.append("Older rows: linedays user record.")
    return " ".join(parts)


def _table(view: AccessesView) -> Component:
    heads = [html.Th(h, scope="col") for h in HEADS]
    return html.Div(
        html.Table(
            [html.Thead(html.Tr(heads)), html.Tbody([_row(row) for row in view.rows])],
            className="plain record",
        ),
        className="scroll",
        tabIndex=0,
        role="region",
        **aria(label=TITLE),
    )


def _row(row: AccessRow) -> Component:
    when: list[Any] = [words.day_year(row.at.date()), html.Span(f" {row.at:%H:%M}")]
    what: list[Any] = [words.ACTS.get(row.what, words.plain(row.what))]
    if row.family_id is not None:
        what += [" ", html.Strong(row.family_id)]
    if row.about is not None:
        what.append(html.Span(row.about, className="about"))
    return html.Tr([html.Td(when), html.Th(row.who or "not known", scope="row"), html.Td(what)])
