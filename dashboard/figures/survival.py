"""How long do lines stay in place, and how many have ended unplanned by each day?"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme
from dashboard.figures.scale import spread

TOP = 1.02
PLOT = 260
"""Height of the curves, without the rows below."""
ROW = 36
LEFT = 44
NAMES = 92
"""Width right of the last day that is kept for names."""
SHORT = 9
"""A longer name is broken at its first space."""
TICKS_BELOW = 56
RISK_HEAD = 24
MOST_FIELDS = 3
"""Limits of more groups than this would lie over each other: they are at a few days only."""


@dataclass(frozen=True)
class Stroke:
    """How the curve of one group is shown: distinguished by dash as well as by colour."""

    colour: str
    dash: str
    veil: str


STROKES = (
    Stroke(theme.BLUE, "solid", "rgba(31,90,153,0.13)"),
    Stroke(theme.RUST, "dash", "rgba(168,67,15,0.12)"),
    Stroke(theme.TEAL, "dot", "rgba(15,90,104,0.12)"),
    Stroke(theme.PLUM, "dashdot", "rgba(123,47,107,0.12)"),
    Stroke(theme.INK, "longdash", "rgba(29,37,48,0.10)"),
    Stroke(theme.SOFT_INK, "longdashdot", "rgba(74,83,97,0.10)"),
)


def share_in_place(
    curves: pd.DataFrame, summary: pd.DataFrame, at_risk: pd.DataFrame, last_day: int
) -> go.Figure:
    """Draw the share of lines still in place, with numbers at risk under the axis.

    Parameters
    ----------
    curves : DataFrame
        One row a group and day with an end of a line: ``name``, ``day``, ``in_place``,
        ``in_place_lower``, ``in_place_upper`` (shares).
    summary : DataFrame
        One row a group with a curve: ``name``, ``start_day``, ``horizon``, ``given``.
    at_risk : DataFrame
        ``name``, ``day``, ``at_risk``: lines at risk on the days of the axis.
    last_day : int
        End of the axis, days since placement.

    Returns
    -------
    Figure
        Steps; 95 % limits as light fields, of more than three groups as upright lines at the
        days of the axis; a row of numbers a group below.
    """
    columns = ("in_place", "in_place_lower", "in_place_upper")
    ticks = sorted({int(day) for day in at_risk["day"]})
    return _curves(curves, summary, ticks, last_day, columns, start=1.0, at_risk=at_risk)


def ended_unplanned(
    curves: pd.DataFrame, summary: pd.DataFrame, ticks: Sequence[int], last_day: int
) -> go.Figure:
    """Draw the share of lines that have ended unplanned (cumulative incidence), with limits.

    Parameters
    ----------
    curves : DataFrame
        As for `share_in_place`, with ``unplanned_share``, ``unplanned_lower``,
        ``unplanned_upper``.
    summary, last_day
        As for `share_in_place`.
    ticks : sequence of int
        Days of the axis.

    Returns
    -------
    Figure
        On the same scale as `share_in_place`, so that the two can be set side by side.
    """
    columns = ("unplanned_share", "unplanned_lower", "unplanned_upper")
    return _curves(curves, summary, ticks, last_day, columns, start=0.0, at_risk=None)


def _curves(
    curves: pd.DataFrame,
    summary: pd.DataFrame,
    ticks: Sequence[int],
    last_day: int,
    columns: tuple[str, str, str],
    *,
    start: float,
    at_risk: pd.DataFrame | None,
) -> go.Figure:
    figure = go.Figure()
    ends: list[float] = []
    curves, summary = theme.plain_in(curves, "name"), theme.plain_in(summary, "name")
    at_risk = None if at_risk is None else theme.plain_in(at_risk, "name")
    rows = summary.to_dict("records")
    for at, (row, stroke) in enumerate(zip(rows, STROKES, strict=False)):
        mine = curves[(curves["name"] == row["name"]).to_numpy(dtype=bool)]
        mine = mine[(mine["day"] <= last_day).to_numpy(dtype=bool)]
        days, share, lower, upper = _steps(mine, row, last_day, columns, start)
        if len(rows) <= MOST_FIELDS:
            seen = next((i for i, v in enumerate(share) if v != start), len(share) - 1)
            first = 0 if start else seen
            _field(figure, days[first:], lower[first:], upper[first:], stroke)
        else:
            place = (at - (len(rows) - 1) / 2) * last_day / 60
            _whiskers(figure, (days, lower, upper), ticks, place, stroke)
        figure.add_trace(
            go.Scatter(
                name=str(row["name"]),
                x=days,
                y=share,
                mode="lines",
                line={"color": stroke.colour, "width": 2, "dash": stroke.dash, "shape": "hv"},
                hovertext=[
                    f"{row['name']}, day {day}<br>{100 * s:.0f} % (95 % limits {100 * low:.0f} to "
                    f"{100 * high:.0f} %)"
                    for day, s, low, high in zip(days, share, lower, upper, strict=True)
                ],
                hoverinfo="text",
            )
        )
        ends.append(share[-1])
    _names(figure, [str(r["name"]) for r in rows], ends, last_day)
    below = 0 if at_risk is None else ROW * len(rows) + RISK_HEAD
    height = 26 + PLOT + TICKS_BELOW + below
    theme.quiet(figure, height=height)
    theme.unit_above(figure, "share of lines")
    inner = PLOT + TICKS_BELOW + below - 8
    figure.update_layout(margin={"l": LEFT, "r": NAMES, "t": 26, "b": 8})
    figure.update_yaxes(
        theme.AXIS,
        domain=[1 - PLOT / inner, 1],
        range=[0, TOP],
        tickvals=[0, 0.25, 0.5, 0.75, 1],
        ticktext=["0 %", "25 %", "50 %", "75 %", "100 %"],
    )
    figure.update_xaxes(
        theme.AXIS, range=[0, last_day], tickvals=list(ticks), showgrid=False, anchor="y"
    )
    theme.note(
        figure,
        "days since placement",
        xref="paper",
        x=0,
        yref="paper",
        y=1 - (PLOT + 24) / inner,
        xanchor="left",
        yanchor="top",
    )
    if at_risk is not None:
        _risk_rows(figure, rows, at_risk, inner)
    return figure


def _steps(
    mine: pd.DataFrame,
    row: dict[object, object],
    last_day: int,
    columns: tuple[str, str, str],
    start: float,
) -> tuple[list[int], list[float], list[float], list[float]]:
    """Steps from the day the curve is given from to the last day seen."""
    until = min(last_day, int(str(row["horizon"])))
    days = [int(str(row["start_day"])), *(int(d) for d in mine["day"]), until]
    share, lower, upper = (
        [start, *(float(v) for v in mine[c].astype("float64").ffill().fillna(start))]
        for c in columns
    )
    return days, [*share, share[-1]], [*lower, lower[-1]], [*upper, upper[-1]]


def _field(
    figure: go.Figure, days: list[int], lower: list[float], upper: list[float], stroke: Stroke
) -> None:
    for values, fill in ((lower, None), (upper, "tonexty")):
        figure.add_trace(
            go.Scatter(
                name="95 % limits",
                x=days,
                y=values,
                mode="lines",
                line={"color": stroke.colour, "width": 0.6, "dash": "dot", "shape": "hv"},
                fill=fill,
                fillcolor=stroke.veil,
                hoverinfo="skip",
            )
        )


def _whiskers(
    figure: go.Figure,
    limits: tuple[list[int], list[float], list[float]],
    ticks: Sequence[int],
    place: float,
    stroke: Stroke,
) -> None:
    """Limits at the days of the axis, those of the groups side by side."""
    days, lower, upper = limits
    x: list[float | None] = []
    y: list[float | None] = []
    for tick in ticks:
        at = bisect_right(days, tick) - 1
        if at > 0:
            x += [tick + place, tick + place, None]
            y += [lower[at], upper[at], None]
    figure.add_trace(
        go.Scatter(
            name="95 % limits",
            x=x,
            y=y,
            mode="lines",
            line={"color": stroke.colour, "width": 1.5},
            opacity=0.6,
            hoverinfo="skip",
        )
    )


def _names(figure: go.Figure, names: list[str], ends: list[float], last_day: int) -> None:
    """Names at the end of the curves, moved apart where curves end together."""
    places = spread(ends, 0.115, 0.04, 0.98)
    for name, end, place, stroke in zip(names, ends, places, STROKES, strict=False):
        figure.add_annotation(
            x=last_day,
            y=end,
            ax=12,
            ay=-(place - end) * PLOT / TOP,
            xanchor="left",
            align="left",
            text=name if len(name) <= SHORT else name.replace(" ", "<br>", 1),
            showarrow=True,
            arrowhead=0,
            arrowwidth=1,
            arrowcolor=stroke.colour,
            font={"size": theme.SMALL, "color": stroke.colour},
        )


def _risk_rows(
    figure: go.Figure, rows: list[dict[object, object]], at_risk: pd.DataFrame, inner: float
) -> None:
    """Numbers at risk under the ticks, a row a group with its name and day above."""
    top = PLOT + TICKS_BELOW - 8
    figure.update_layout(
        yaxis2={
            "domain": [0, max(0.0, 1 - top / inner)],
            "range": [0, inner - top],
            "visible": False,
            "fixedrange": True,
        }
    )
    theme.note(
        figure,
        "<b>Lines at risk</b>",
        xref="paper",
        x=0,
        yref="y2",
        y=inner - top - 4,
        xanchor="left",
        xshift=-LEFT + 4,
        soft=False,
    )
    for at, (row, stroke) in enumerate(zip(rows, STROKES, strict=False)):
        mine = at_risk[(at_risk["name"] == row["name"]).to_numpy(dtype=bool)]
        place = inner - top - RISK_HEAD + 1 - ROW * at
        figure.add_annotation(
            xref="paper",
            x=0,
            yref="y2",
            y=place,
            xanchor="left",
            xshift=-LEFT + 4,
            text=f"{row['name']}, <i>{row['given']}</i>",
            showarrow=False,
            font={"size": theme.SMALL, "color": stroke.colour},
        )
        figure.add_trace(
            go.Scatter(
                name=f"at risk: {row['name']}",
                x=mine["day"],
                y=[place - 17] * len(mine),
                yaxis="y2",
                mode="text",
                text=[str(n) for n in mine["at_risk"]],
                textfont={"size": theme.SMALL},
                hoverinfo="skip",
                cliponaxis=False,
            )
        )
