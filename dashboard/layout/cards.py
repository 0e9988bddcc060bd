"""How does a figure appear on a page: what it answers, its reading, its table, its definition?"""

from __future__ import annotations

from collections.abc import Sequence

import plotly.graph_objects as go
from dash import dcc, html
from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.layout.attributes import aria
from dashboard.layout.templates import macro, static

Row = Sequence[str | Markup]


def figure_card(
    title: str,
    figure: go.Figure | None,
    reading: str,
    *,
    table: Markup | None,
    notes: Sequence[str] = (),
    explained: Sequence[tuple[str, str]] = (),
    above: Markup | None = None,
    later: str | None = None,
) -> Component:
    """A figure with its reading in a sentence, its table, notes and links to its definition.

    Parameters
    ----------
    title : str
        The question that the figure answers.
    figure : Figure or None
        None: there is nothing to plot, the reading explains why.
    reading : str
        Below the figure; with the title it is what a screen reader reads for the figure.
    table : Markup or None
        The same in numbers.
    notes : sequence of str
        Cautions.
    explained : sequence of (str, str)
        Key of a definition and the text of the link to it.
    above : Markup or None
        What to choose, before the figure.
    later : str or None
        Id of a caution that a callback adds once the page is shown.
    """
    return html.Section(
        [
            static("layout/card_head", title=title, above=above),
            *([] if figure is None else [plotted(figure, f"{title} {reading}")]),
            static(
                "layout/card_foot",
                reading=reading,
                notes=notes,
                table=table,
                explained=explained,
                has_figure=figure is not None,
            ),
            *([] if later is None else [html.P(id=later, className="note")]),
        ],
        className="line figure-card",
    )


def plotted(figure: go.Figure, described: str) -> Component:
    """A figure as one image with a description; its numbers are in the table next to it."""
    return html.Div(
        dcc.Graph(
            figure=figure,
            config={"displayModeBar": False, "responsive": True},
            responsive=True,
            className="history",
            style={"height": f"{figure.layout.height}px"},
        ),
        role="img",
        **aria(label=f"{described} The table below shows the same."),
    )


def numbers(heads: Sequence[str], rows: Sequence[Row]) -> Markup:
    """A table whose first column names the row."""
    return macro("layout/tables", "numbers", heads, rows)


def scrolled(label: str, table: Markup) -> Markup:
    """A table that scrolls by itself on a narrow screen."""
    return macro("layout/tables", "scrolled_table", label, table)


def folded(label: str, table: Markup) -> Markup:
    """A table that opens on demand; in print it is open."""
    return macro("layout/tables", "folded_table", label, table)
