"""How late does what each source sends come in? Half and nine in ten, one source a row."""

from __future__ import annotations

from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme

ROW = 48
WEEK = 7
NOTHING = "nothing in these weeks"


def days_to_receipt(table: pd.DataFrame) -> go.Figure:
    """Draw within how many days half and nine in ten entries of each source came in.

    Parameters
    ----------
    table : DataFrame
        One row a source: ``name``, ``entries``, ``median_days`` and ``nine_in_ten_days``
        (missing: no entry).

    Returns
    -------
    Figure
        A dot for half, a bar's end for nine in ten, a dotted line at a week.
    """
    table = theme.plain_in(table, "name")
    n = len(table)
    top = max(WEEK + 3, int(table["nine_in_ten_days"].max() or 0)) if _any(table) else WEEK + 3
    came = table[table["median_days"].notna().to_numpy(dtype=bool)]
    heights = [-float(at) - 0.16 for at in came.index]
    half = [int(d) for d in came["median_days"]]
    most = [int(d) for d in came["nine_in_ten_days"]]
    figure = go.Figure()
    figure.add_trace(
        go.Scatter(
            name="half to nine in ten",
            x=[x for a, b in zip(half, most, strict=True) for x in (a, b, None)],
            y=[y for h in heights for y in (h, h, None)],
            mode="lines",
            line={"color": theme.PALE_INK, "width": 4},
            hoverinfo="skip",
        )
    )
    for name, days, marker in (
        ("nine in ten", most, {"symbol": "line-ns", "size": 16, "color": theme.BLUE}),
        ("half", half, {"symbol": "circle", "size": 11, "color": theme.BLUE}),
    ):
        figure.add_trace(
            go.Scatter(
                name=name,
                x=days,
                y=heights,
                mode="markers",
                marker={**marker, "opacity": 1, "line": {"width": 2, "color": theme.BLUE}},
                hovertext=[
                    f"{who}<br>{name} within {_days(d)}"
                    for who, d in zip(came["name"], days, strict=True)
                ],
                hoverinfo="text",
                cliponaxis=False,
            )
        )
    for height, row in enumerate(table.to_dict("records")):
        _label(figure, row, -float(height))
    _week(figure, n)
    figure.update_xaxes(theme.AXIS, range=[-0.02 * top, top * 1.04], nticks=6)
    figure.update_yaxes(range=[-n + 0.5, 0.75], visible=False, fixedrange=True, zeroline=False)
    theme.quiet(figure, height=ROW * n + 84)
    theme.unit_below(figure, "days from the day of the entry to its receipt")
    return figure


def _any(table: pd.DataFrame) -> bool:
    return bool(table["nine_in_ten_days"].notna().any())


def _days(n: Any) -> str:
    return "1 day" if n == 1 else f"{n} days"


def _week(figure: go.Figure, n: int) -> None:
    theme.line(
        figure,
        (WEEK, WEEK),
        (0.45, -n + 0.5),
        {"color": theme.EDGE, "width": 1, "dash": "dot"},
        layer="below",
    )
    theme.note(figure, "a week", x=WEEK, yref="paper", y=1, yanchor="bottom")


def _label(figure: go.Figure, row: dict[Any, Any], height: float) -> None:
    within = f"half {row['median_days']}, 90 % {_days(row['nine_in_ten_days'])}"
    theme.note(
        figure,
        f"<b>{row['name']}</b>  <span style='color:{theme.SOFT_INK}'>"
        f"{within if row['entries'] else NOTHING}</span>",
        xref="paper",
        x=0,
        y=height + 0.2,
        xanchor="left",
        bgcolor=theme.VEIL,
        borderpad=1,
        soft=False,
    )
