"""Which colours, sizes and strokes do figures share?

The six colours differ in lightness as well as in hue, so that they stay apart without colour
and for readers with a colour-vision deficiency; each is used with a shape or a hatch of its own.
"""

from __future__ import annotations

from html import escape
from typing import Any

import pandas as pd
import plotly.graph_objects as go

INK = "#1d2530"
SOFT_INK = "#4a5361"
RULE = "#dedacf"
EDGE = "#8a8577"
SHADE = "#efebe1"
PALE_INK = "#aeb9c6"
SHEET = "#fffefb"
VEIL = "rgba(255,254,251,0.85)"
PAPER = "rgba(0,0,0,0)"
BLUE = "#1f5a99"
PALE_BLUE = "#c9d9e8"
RUST = "#a8430f"
PLUM = "#7b2f6b"
TEAL = "#0f5a68"
FONT = "-apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', system-ui, sans-serif"
TEXT = 13
SMALL = 12
AXIS = {
    "gridcolor": RULE,
    "ticks": "outside",
    "tickcolor": RULE,
    "tickangle": 0,
    "tickfont": {"size": SMALL, "color": SOFT_INK},
    "fixedrange": True,
    "zeroline": False,
}
"""What the axes of all charts share."""


QUIET = {
    "margin": {"l": 4, "r": 12, "t": 26, "b": 26},
    "paper_bgcolor": PAPER,
    "plot_bgcolor": PAPER,
    "font": {"family": FONT, "size": TEXT, "color": INK},
    "hoverlabel": {
        "bgcolor": "#ffffff",
        "bordercolor": INK,
        "font": {"color": INK, "size": TEXT},
    },
    "showlegend": False,
    "separators": ".\N{NARROW NO-BREAK SPACE}",
    "dragmode": False,
    "barmode": "overlay",
    "hovermode": "closest",
}
"""Type, margins and grid of all figures."""


def quiet(figure: go.Figure, *, height: int) -> go.Figure:
    """Set type, margins and grid as all figures have them; returns the figure."""
    figure.update_layout(height=height, **QUIET)
    return figure


def plain(text: str) -> str:
    """A name or text of the store for a figure, where plotly obeys tags and links.

    Examples
    --------
    >>> plain("North <a href='x'>here</a>")
    "North &lt;a href='x'&gt;here&lt;/a&gt;"
    """
    return escape(text, quote=False)


def plain_in(table: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The table with the texts of some columns as `plain` gives them."""
    made = {c: [plain(str(text)) for text in table[c]] for c in columns}
    return table.assign(**{c: pd.Series(made[c], index=table.index, dtype="object") for c in made})


def note(figure: go.Figure, text: str, *, soft: bool = True, **place: Any) -> None:
    """Write small words in a figure; `place` as for plotly's annotations."""
    figure.add_annotation(note_of(text, soft=soft, **place))


def note_of(text: str, *, soft: bool = True, **place: Any) -> dict[str, Any]:
    """Small words to be written in a figure; many are written at once by `notes`."""
    font = {"size": SMALL, "color": SOFT_INK} if soft else {"size": SMALL}
    return {"text": text, "showarrow": False, "font": font, **place}


def notes(figure: go.Figure, written: list[dict[str, Any]]) -> None:
    """Write many small words at once: plotly checks all that are there at each addition."""
    figure.layout.annotations = [*figure.layout.annotations, *written]


def line(
    figure: go.Figure, x: tuple[Any, Any], y: tuple[Any, Any], stroke: dict[str, Any], **place: Any
) -> None:
    """Draw a straight line from the first x and y to the second; `place` as for plotly's shapes."""
    figure.add_shape(type="line", x0=x[0], x1=x[1], y0=y[0], y1=y[1], line=stroke, **place)


def unit_above(figure: go.Figure, unit: str) -> None:
    """Write the unit of the upright axis above it, where it is read first and costs no width."""
    note(figure, unit, xref="paper", x=0, yref="paper", y=1, xanchor="left", yanchor="bottom")
    figure.update_layout(margin={"l": 34, "b": 44})


def unit_below(figure: go.Figure, unit: str) -> None:
    """Write the unit of the lying axis below it."""
    figure.update_xaxes(title={"text": unit, "font": {"size": SMALL, "color": SOFT_INK}})
    figure.update_layout(margin_b=52)
