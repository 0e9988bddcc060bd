"""Was less missed after refreshers, and less than by similar families without one?"""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme

ROW = 66
APART = 0.2
LEAST, MOST = 1 / 8, 8.0
"""The axis ends here at most; limits beyond it are cut off there and written in the table."""
OWN = ("own", 0.0, "circle", theme.SHEET, theme.EDGE)
ADJUSTED = ("adjusted", -APART, "diamond", theme.BLUE, theme.BLUE)


def before_after(table: pd.DataFrame) -> go.Figure:
    """Draw both ratios of each step with their limits, in the order of the table.

    Parameters
    ----------
    table : DataFrame
        One row a step: ``step_name``, ``families``, and ``own_ratio``, ``own_lower``,
        ``own_upper``, ``adjusted_ratio``, ``adjusted_lower``, ``adjusted_upper`` (missing: not
        known). Share missed after the refresher over what it is compared with.

    Returns
    -------
    Figure
        Per step an open circle, the families' own before and after, and below it a filled
        diamond, against similar families; a line for the limits of each. 1 means no change.
    """
    rows = theme.plain_in(table, "step_name").to_dict("records")
    heights = [-float(at) for at in range(len(rows))]
    low, high = _reach(table)
    figure = go.Figure()
    for which, shift, symbol, fill, edge in (OWN, ADJUSTED):
        placed = [
            (row, height + shift)
            for row, height in zip(rows, heights, strict=True)
            if _is_shown(row[f"{which}_ratio"])
        ]
        figure.add_trace(_limits(placed, which, low, high, edge))
        figure.add_trace(
            go.Scatter(
                name=which,
                x=[min(max(row[f"{which}_ratio"], low), high) for row, _ in placed],
                y=[height for _, height in placed],
                mode="markers",
                marker={
                    "symbol": symbol,
                    "size": 11,
                    "color": fill,
                    "opacity": 1,
                    "line": {"width": 2, "color": edge},
                },
                hovertext=[_hover(row, which) for row, _ in placed],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    theme.line(
        figure,
        (1, 1),
        (0.5, -len(rows) + 0.5),
        {"color": theme.SOFT_INK, "width": 1, "dash": "dash"},
        layer="below",
    )
    for row, height in zip(rows, heights, strict=True):
        _label(figure, row, height)
    ticks = [t for t in (0.125, 0.25, 0.5, 1, 2, 4, 8) if low <= t <= high]
    figure.update_xaxes(
        theme.AXIS,
        type="log",
        range=[math.log10(low) - 0.03, math.log10(high) + 0.03],
        tickvals=ticks,
        ticktext=[{0.125: "⅛", 0.25: "¼", 0.5: "½"}.get(t, f"{t:g}") for t in ticks],
    )
    figure.update_yaxes(
        range=[-len(rows) + 0.4, 0.75], visible=False, fixedrange=True, zeroline=False
    )
    theme.quiet(figure, height=ROW * len(rows) + 84)
    theme.unit_below(figure, "ratio of the shares missed; 1: no change")
    return figure


def _is_shown(ratio: Any) -> bool:
    return not pd.isna(ratio) and 0 < float(ratio) < math.inf


def _reach(table: pd.DataFrame) -> tuple[float, float]:
    """Ends of the axis: whole doublings about 1 that hold all limits, a doubling at least."""
    names = [f"{w}_{c}" for w in ("own", "adjusted") for c in ("ratio", "lower", "upper")]
    known = [float(v) for v in table[names].to_numpy(dtype=float).ravel() if _is_shown(v)]
    wide = max([abs(math.log2(v)) for v in known] or [1.0])
    reach = min(2.0 ** max(1, math.ceil(wide)), MOST)
    return max(1 / reach, LEAST), reach


def _limits(
    placed: list[tuple[dict[Any, Any], float]], which: str, low: float, high: float, colour: str
) -> go.Scatter:
    x: list[float | None] = []
    y: list[float | None] = []
    for row, height in placed:
        lower, upper = row[f"{which}_lower"], row[f"{which}_upper"]
        if not (pd.isna(lower) or pd.isna(upper)):
            x += [min(max(lower, low), high), min(max(upper, low), high), None]
            y += [height, height, None]
    return go.Scatter(
        name=f"95 % limits, {which}",
        x=x,
        y=y,
        mode="lines",
        line={"color": colour, "width": 2 if which == "adjusted" else 1.5},
        hoverinfo="skip",
    )


def _hover(row: dict[Any, Any], which: str) -> str:
    against = "the families' own before" if which == "own" else "similar families"
    ratio, lower, upper = (row[f"{which}_{c}"] for c in ("ratio", "lower", "upper"))
    limits = "limits not known" if pd.isna(lower) else f"95 % limits {lower:.2f} to {upper:.2f}"
    return f"{row['step_name']}<br>{ratio:.2f} times {against}<br>{limits}"


def _label(figure: go.Figure, row: dict[Any, Any], height: float) -> None:
    families = f"{row['families']} {'family' if row['families'] == 1 else 'families'}"
    theme.note(
        figure,
        f"<b>{row['step_name']}</b>  <span style='color:{theme.SOFT_INK}'>{families}</span>",
        xref="paper",
        x=0,
        y=height + 0.32,
        xanchor="left",
        bgcolor=theme.VEIL,
        borderpad=1,
        soft=False,
    )
