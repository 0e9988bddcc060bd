"""How does a figure stand on a page: what it answers, its reading, its table, its definition?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.addresses.definitions import definition_address
from dashboard.layout.attributes import aria
from dashboard.layout.static import static

Row = Sequence[str]
MOST_UNBROKEN = 24
"""Longer texts in a table may be broken into lines; numbers may not."""


def figure_card(
    title: str,
    figure: go.Figure | None,
    reading: str,
    *,
    table: Component | None,
    notes: Sequence[str] = (),
    explained: Sequence[tuple[str, str]] = (),
    above: Component | None = None,
) -> Component:
    """A figure with its reading in a sentence, its table, notes and ways to its definition.

    Parameters
    ----------
    title : str
        What the figure answers, as a sentence.
    figure : Figure or None
        None: there is nothing to draw, the reading says why.
    reading : str
        Stands under the figure; with the title it is what a screen reader is told of it.
    table : Component or None
        The same in numbers.
    notes : sequence of str
        Cautions.
    explained : sequence of (str, str)
        Key of a definition and the words of the way to it.
    above : Component or None
        What to choose, before the figure.
    """
    return html.Section(
        [
            static(html.H2(title), above),
            *([] if figure is None else [drawn(figure, f"{title} {reading}")]),
            static(
                html.P(reading, className="summary"),
                [html.P(note, className="note") for note in notes],
                table,
                ways(explained),
            ),
        ],
        className="line figure-card",
    )


def drawn(figure: go.Figure, described: str) -> Component:
    """A figure as one image with a description; its numbers are in the table beside it."""
    return html.Div(
        dcc.Graph(
            figure=figure,
            config={"displayModeBar": False, "responsive": True},
            responsive=True,
            className="history",
            style={"height": f"{figure.layout.height}px"},
        ),
        role="img",
        **aria(label=f"{described} The table below holds the same."),
    )


def ways(explained: Sequence[tuple[str, str]]) -> Any:
    """Ways to definitions, each a key and its words; None where there are none."""
    if not explained:
        return None
    links: list[Any] = []
    for key, text in explained:
        links += [html.A(text, href=definition_address(key)), " "]
    return html.P(links, className="ways screen")


def folded(label: str, table: Component) -> Component:
    """A table that opens on demand; on paper it is open."""
    return html.Details(
        [html.Summary("The same as a table"), scrolled(label, table)], className="same"
    )


def scrolled(label: str, table: Component) -> Component:
    """A table that scrolls by itself on a narrow screen."""
    return html.Div(table, className="scroll", tabIndex=0, role="region", **aria(label=label))


def numbers(heads: Row, rows: Sequence[Row]) -> Component:
    """A table whose first column names the row."""
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])),
            html.Tbody(
                [
                    html.Tr(
                        [
                            html.Th(row[0], scope="row", className=_breaks(row[0])),
                            *(html.Td(text, className=_breaks(text)) for text in row[1:]),
                        ]
                    )
                    for row in rows
                ]
            ),
        ],
        className="plain numbers",
    )


def _breaks(text: str) -> str | None:
    return "words" if len(text) > MOST_UNBROKEN else None
