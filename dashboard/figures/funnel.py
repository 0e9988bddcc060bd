"""Which sites lie outside the limits of chance for their line-days?"""

from __future__ import annotations

import math

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme
from dashboard.figures.scale import spread, top_of_axis

HEIGHT = 320
LIMITS = (("upper_95", "95 %", "dash"), ("upper_998", "99.8 %", "dot"))


def site_funnel(funnel: pd.DataFrame) -> go.Figure:
    """Draw rates of groups against their line-days, with limits about the common rate.

    Parameters
    ----------
    funnel : DataFrame
        One row a group: ``name``, ``events``, ``judged_days``, ``judged_rate_per_1000``, ``centre``, and
        limits ``lower_95``, ``upper_95``, ``lower_998``, ``upper_998``. Unit: events per 1000
        line-days.

    Returns
    -------
    Figure
        Limits are given at the groups' own line-days and joined between. A group outside the
        95 % limits is a diamond, one inside a circle; each has its name next to it.
    """
    table = funnel[(funnel["judged_days"] > 0).to_numpy(dtype=bool)]
    table = theme.plain_in(table.sort_values("judged_days", ignore_index=True), "name")
    top = top_of_axis(table["judged_rate_per_1000"], table["upper_998"])
    most = float(table["judged_days"].max()) if len(table) else 1.0
    figure = go.Figure()
    for upper, _, dash in LIMITS:
        for column in (upper, upper.replace("upper", "lower")):
            figure.add_trace(
                go.Scatter(
                    name=column,
                    x=table["judged_days"],
                    y=table[column].clip(upper=top),
                    mode="lines+markers",
                    line={"color": theme.EDGE, "width": 1.5, "dash": dash},
                    marker={"symbol": "line-ew-open", "size": 9, "color": theme.EDGE},
                    hoverinfo="skip",
                )
            )
    outside = (table["judged_rate_per_1000"] > table["upper_95"]) | (
        table["judged_rate_per_1000"] < table["lower_95"]
    )
    for name, which, symbol, colour in (
        ("inside", ~outside, "circle", theme.BLUE),
        ("outside", outside, "diamond", theme.RUST),
    ):
        rows = table[which.to_numpy(dtype=bool)]
        if len(rows):
            figure.add_trace(
                go.Scatter(
                    name=name,
                    x=rows["judged_days"],
                    y=rows["judged_rate_per_1000"].clip(upper=top),
                    mode="markers+text",
                    text=[f" {name} " for name in rows["name"]],
                    textposition=[
                        "middle left" if d > most / 2 else "middle right"
                        for d in rows["judged_days"]
                    ],
                    textfont={"size": theme.SMALL},
                    marker={"symbol": symbol, "size": 12, "color": colour, "opacity": 1},
                    hovertext=[
                        f"{r['name']}<br>{r['judged_rate_per_1000']:.2f} per 1000, {r['events']} events in "
                        f"{r['judged_days']} line-days"
                        for r in rows.to_dict("records")
                    ],
                    hoverinfo="text",
                    cliponaxis=False,
                )
            )
    _centre(figure, table, top)
    figure.update_xaxes(
        theme.AXIS, range=[0, most * 1.06], nticks=3, showgrid=False, tickformat=",.0f"
    )
    figure.update_yaxes(theme.AXIS, range=[-0.03 * top, top * 1.04], nticks=6)
    theme.quiet(figure, height=HEIGHT)
    theme.unit_above(figure, "per 1000 home line-days")
    theme.unit_below(figure, "home line-days of the site")
    figure.update_layout(margin_r=84)
    return figure


def _centre(figure: go.Figure, table: pd.DataFrame, top: float) -> None:
    """The common rate as a line; it and the upper limits are named at the right."""
    if not len(table) or math.isnan(float(table["centre"].iloc[-1])):
        return
    centre = float(table["centre"].iloc[-1])
    theme.line(
        figure,
        (0, 1),
        (centre, centre),
        {"color": theme.EDGE, "width": 1.5},
        xref="paper",
        layer="below",
    )
    named = [(f"all {centre:.2f}", centre)]
    named += [(f"{word} limit", min(float(table[c].iloc[-1]), top)) for c, word, _ in LIMITS]
    places = spread([v for _, v in named], 0.075 * top, 0, top)
    for (text, _), place in zip(named, places, strict=True):
        theme.note(figure, text, xref="paper", x=1, y=place, xanchor="left")
