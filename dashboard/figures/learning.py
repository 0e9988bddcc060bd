"""Do caregivers miss a step less, the more changes they have done since their first sign-off?"""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme
from dashboard.figures.scale import top_of_axis

HEIGHT = 300
UNDER = 92


def learning_by_changes(table: pd.DataFrame) -> go.Figure:
    """Draw the share missed by range of changes done, with limits and the numbers it rests on.

    Parameters
    ----------
    table : DataFrame
        One row a range in order: ``name``, ``families``, ``seen``, ``missed``, ``share``,
        ``lower``, ``upper`` (missing: too few families). Shares 0-1.

    Returns
    -------
    Figure
        A dot a range with its limits as an upright line; below each range the families and the
        occasions.
    """
    table = theme.plain_in(table, "name")
    known = table["upper"].dropna()
    top = min(1.0, max(top_of_axis(table["share"], known), 0.02))
    places = list(range(len(table)))
    figure = go.Figure()
    x: list[float | None] = []
    y: list[float | None] = []
    for at, (lower, upper) in enumerate(zip(table["lower"], table["upper"], strict=True)):
        if not (pd.isna(lower) or pd.isna(upper)):
            x += [at, at, None]
            y += [min(lower, top), min(upper, top), None]
    figure.add_trace(
        go.Scatter(
            name="95 % limits",
            x=x,
            y=y,
            mode="lines",
            line={"color": theme.PALE_INK, "width": 4},
            hoverinfo="skip",
        )
    )
    figure.add_trace(
        go.Scatter(
            name="share missed",
            x=places,
            y=table["share"].clip(upper=top),
            mode="lines+markers",
            line={"color": theme.BLUE, "width": 1, "dash": "dot"},
            marker={
                "symbol": "circle",
                "size": 11,
                "color": [theme.SHEET if n == 0 else theme.BLUE for n in table["missed"]],
                "opacity": 1,
                "line": {"width": 2, "color": theme.BLUE},
            },
            hovertext=[_hover(row) for row in table.to_dict("records")],
            hoverinfo="text",
            cliponaxis=False,
        )
    )
    figure.update_xaxes(
        theme.AXIS,
        range=[-0.5, max(len(table), 2) - 0.5],
        tickvals=places,
        ticktext=[
            f"{row['name']}<br>{row['families']}<br>{row['seen']}"
            for row in table.to_dict("records")
        ],
        showgrid=False,
    )
    figure.update_yaxes(theme.AXIS, range=[0, top * 1.02], tickformat=".0%" if top > 0.1 else ".1%")
    theme.quiet(figure, height=HEIGHT)
    theme.unit_above(figure, "share missed")
    figure.update_layout(margin={"l": 84, "b": UNDER})
    theme.note(
        figure,
        "changes<br>families<br>occasions",
        xref="paper",
        x=0,
        xshift=-84,
        yref="paper",
        y=0,
        yshift=-5,
        xanchor="left",
        yanchor="top",
        align="left",
    )
    return figure


def _hover(row: dict[Any, Any]) -> str:
    limits = ""
    if not pd.isna(row["lower"]):
        limits = f"<br>95 % limits {row['lower']:.1%} to {row['upper']:.1%}"
    return f"changes {row['name']}: {row['missed']} of {row['seen']}, {row['share']:.1%}{limits}"
