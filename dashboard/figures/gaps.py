"""How long was it from one rare event to the next, and how long is it since the last?"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme

HEIGHT = 260
MOST_NAMED = 3
"""Months named on the axis, besides the wait so far: as many as a telephone holds."""


def gap_figure(chart: pd.DataFrame, wait: int, unit: str) -> go.Figure:
    """Draw the gap before each event, and the open one since the last.

    Parameters
    ----------
    chart : DataFrame
        One row a gap: ``period`` (day of the event that ended it), ``label`` (its month), ``gap``,
        ``lower_limit``, ``upper_limit`` (missing: no limits), ``signal`` (missing: none).
    wait : int
        Since the last event.
    unit : str
        Of both, in the plural.

    Returns
    -------
    Figure
        A dot a gap, a diamond where a rule is broken, an open dot for the wait so far; limits as
        grey steps.
    """
    chart = theme.plain_in(chart, "period", "label")
    figure = theme.quiet(go.Figure(), height=HEIGHT)
    n = len(chart)
    for name in ("lower_limit", "upper_limit"):
        x: list[float | None] = []
        y: list[float | None] = []
        for at, value in enumerate(chart[name].astype("float64")):
            x += [at - 0.5, at + 0.5, None]
            y += [value, value, None]
        figure.add_trace(
            go.Scatter(
                name=name.replace("_", " "),
                x=x,
                y=y,
                mode="lines",
                line={"color": theme.EDGE, "width": 1.25},
                hoverinfo="skip",
            )
        )
    broken = chart["signal"].notna().to_numpy(dtype=bool)
    for name, which, symbol, colour in (
        ("gap", ~broken, "circle", theme.BLUE),
        ("signal", broken, "diamond", theme.RUST),
    ):
        rows = chart[which]
        figure.add_trace(
            go.Scatter(
                name=name,
                x=[at for at, chosen in enumerate(which) if chosen],
                y=rows["gap"],
                mode="markers",
                marker={"symbol": symbol, "size": 10, "color": colour, "opacity": 1},
                hovertext=[
                    f"{g} {unit} before {p}"
                    for g, p in zip(rows["gap"], rows["period"], strict=True)
                ],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    figure.add_trace(
        go.Scatter(
            name="since the last",
            x=[n],
            y=[wait],
            mode="markers",
            marker={
                "symbol": "circle",
                "size": 10,
                "color": theme.SHEET,
                "opacity": 1,
                "line": {"width": 2, "color": theme.BLUE},
            },
            hovertext=[f"{wait} {unit} since the last, so far"],
            hoverinfo="text",
            cliponaxis=False,
        )
    )
    step = max(1, -(-n // MOST_NAMED))
    shown = list(range(0, max(n - step // 2, 1), step))
    figure.update_xaxes(
        theme.AXIS,
        range=[-0.6, n + 0.6],
        tickvals=[*shown, n],
        ticktext=[*(str(chart["label"].iloc[at]).replace(" ", "<br>") for at in shown), "now"],
        showgrid=False,
    )
    figure.update_yaxes(theme.AXIS, rangemode="tozero", nticks=6)
    theme.unit_above(figure, f"{unit} between events")
    return figure
