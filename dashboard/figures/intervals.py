"""How sure is the rate of each group? A dot with its limits as a line, one group a row."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme
from dashboard.figures.scale import top_of_axis

ROW = 48
NO_RATE = "no line-days: no rate"


def rate_intervals(table: pd.DataFrame, whole_rate: float | None) -> go.Figure:
    """Draw the rate of each group with its limits, in the order of the table.

    Parameters
    ----------
    table : DataFrame
        One row a group: ``name``, ``events``, ``line_days``, ``rate_per_1000``, ``lower``,
        ``upper`` and ``clustered_lower``, ``clustered_upper`` (missing: not calculated). Unit:
        events per 1000 line-days.
    whole_rate : float or None
        Rate of all groups together, plotted as a line.

    Returns
    -------
    Figure
        A group without events has an open dot at 0 and its upper limit; one without line-days
        is explained in words. Wider limits, adjusted for families, are a thinner line.
    """
    table = theme.plain_in(table, "name")
    n = len(table)
    top = top_of_axis(table["rate_per_1000"], table["upper"])
    heights = [-float(at) for at in range(n)]
    figure = go.Figure()
    if whole_rate is not None and math.isfinite(whole_rate):
        _whole(figure, whole_rate, n)
    for name, lower, upper, width, colour in (
        (
            "95 % limits, adjusted for families",
            "clustered_lower",
            "clustered_upper",
            1.5,
            theme.EDGE,
        ),
        ("95 % limits", "lower", "upper", 4, theme.PALE_INK),
    ):
        figure.add_trace(_bars(table, heights, lower, upper, top, name, width, colour))
    for name, none in (("rate", False), ("no event", True)):
        rows = ((table["events"] == 0) == none) & (table["line_days"] > 0)
        if rows.any():
            figure.add_trace(_dots(table, heights, rows.to_numpy(dtype=bool), top, name))
    rows_of = zip(table.to_dict("records"), heights, strict=True)
    theme.notes(figure, [n for row, height in rows_of for n in _labels(row, height, top)])
    figure.update_xaxes(theme.AXIS, range=[-0.02 * top, top * 1.03], nticks=6)
    figure.update_yaxes(range=[-n + 0.5, 0.75], visible=False, fixedrange=True, zeroline=False)
    theme.quiet(figure, height=ROW * n + 84)
    theme.unit_below(figure, "events per 1000 home line-days")
    return figure


def _whole(figure: go.Figure, rate: float, n: int) -> None:
    theme.line(
        figure,
        (rate, rate),
        (0.45, -n + 0.5),
        {"color": theme.EDGE, "width": 1, "dash": "dot"},
        layer="below",
    )
    theme.note(figure, f"all {rate:.2f}", x=rate, yref="paper", y=1, yanchor="bottom")


def _bars(
    table: pd.DataFrame,
    heights: list[float],
    lower: str,
    upper: str,
    top: float,
    name: str,
    width: float,
    colour: str,
) -> go.Scatter:
    x: list[float | None] = []
    y: list[float | None] = []
    for low, high, height in zip(table[lower], table[upper], heights, strict=True):
        if not (pd.isna(low) or pd.isna(high)):
            x += [min(low, top), min(high, top), None]
            y += [height - 0.16, height - 0.16, None]
    return go.Scatter(
        name=name, x=x, y=y, mode="lines", line={"color": colour, "width": width}, hoverinfo="skip"
    )


def _dots(
    table: pd.DataFrame, heights: list[float], rows: Any, top: float, name: str
) -> go.Scatter:
    chosen = table[rows]
    return go.Scatter(
        name=name,
        x=chosen["rate_per_1000"].clip(upper=top),
        y=[h - 0.16 for h, kept in zip(heights, rows, strict=True) if kept],
        mode="markers",
        marker={
            "symbol": "circle",
            "size": 11,
            "color": theme.BLUE if name == "rate" else theme.SHEET,
            "opacity": 1,
            "line": {"width": 2, "color": theme.BLUE},
        },
        hovertext=[
            f"{r['name']}<br>{r['rate_per_1000']:.2f} per 1000, 95 % limits "
            f"{r['lower']:.2f} to {r['upper']:.2f}"
            for r in chosen.to_dict("records")
        ],
        hoverinfo="text",
        cliponaxis=False,
    )


def _labels(row: dict[Any, Any], height: float, top: float) -> Iterator[dict[str, Any]]:
    """Name and counts above a row; beyond the axis the limit is written."""
    days = f"{row['line_days']:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    words = NO_RATE if row["line_days"] == 0 else f"{row['events']} in {days}"
    yield theme.note_of(
        f"<b>{row['name']}</b>  <span style='color:{theme.SOFT_INK}'>{words}</span>",
        xref="paper",
        x=0,
        y=height + 0.2,
        xanchor="left",
        bgcolor=theme.VEIL,
        borderpad=1,
        soft=False,
    )
    if row["line_days"] and row["upper"] > top:
        yield theme.note_of(
            f"limit up to {row['upper']:.1f} ▸",
            xref="paper",
            x=1,
            y=height + 0.2,
            xanchor="right",
            bgcolor=theme.VEIL,
        )
