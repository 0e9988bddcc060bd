"""How is a list of rows that could not be used shown, each with how to mend it?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.incoming import words as incoming_words
from dashboard.incoming.views import RefusedRow
from dashboard.layout import words
from dashboard.security.roles import ROW


def refused_list(rows: Sequence[RefusedRow], *, mends: bool) -> Component:
    """Refused rows with their place, what stood there, the sentences, and the way to mend them."""
    return html.Ol([_item(row, mends=mends) for row in rows], className="to-mend")


def _item(row: RefusedRow, *, mends: bool) -> Component:
    sheet = f", sheet {row.sheet}" if row.sheet else ""
    about = (
        f"{words.TABLES.get(row.table, row.table)}, number {row.number}; "
        f"received {incoming_words.moment(row.received_at)}"
    )
    cell: list[Any] = [html.B(row.column or "the whole row")]
    if row.value is not None:
        cell += [" ", html.Q(row.value)]
    return html.Li(
        [
            html.Div(
                [
                    html.P(html.B(f"{row.file}{sheet}, row {row.row}")),
                    html.P(about, className="where"),
                ]
            ),
            html.Div([html.P(cell), html.P(row.told)]),
            *([html.Div(_way(row.number))] if mends else []),
        ]
    )


def _way(number: int) -> Component:
    name: list[Any] = ["Mend", html.Span(f" number {number}", className="unseen")]
    return html.A(name, href=f"{ROW}{number}", className="quiet-action mend screen")
