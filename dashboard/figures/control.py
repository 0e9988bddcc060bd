"""Is a rate out of step with its own past? A control chart, with what is provisional marked."""

from __future__ import annotations

import math
from html import escape
from textwrap import wrap
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme
from dashboard.figures.scale import spread, top_of_axis

HEIGHT = 340
WRAP = 22
MOST_TICKS = 4
MOST_MONTHS = 26
"""More months than this have no letter each."""
FEW_MONTHS = 12
SMALLEST = 8
"""Pixels of the letters of more months than that, so that a telephone holds them."""
BELOW_LETTERS = 22
"""Pixels from the axis to the years below the letters."""
YEAR_WIDTH = 4
"""Months that the number of a year is as wide as."""
STEPS = (1, 2, 3, 4, 6, 12, 24, 48)
"""Periods from one tick to the next: few enough for a telephone."""
PROVISIONAL = "provisional"
LETTERS_ABOVE = 20
"""Pixels between the chart and the letters of annotations, in which its unit is written."""
LETTER_SHARE = 0.06
"""Share of the width within which letters of annotations share one box."""


def control_chart(chart: pd.DataFrame, marks: pd.DataFrame | None = None) -> go.Figure:
    """Draw rates by period with centre and limits.

    Parameters
    ----------
    chart : DataFrame
        One row a period in order of time: ``label``, ``events``, ``judged_days``,
        ``judged_rate_per_1000``, ``centre``, ``lower_limit``, ``upper_limit`` (missing: no limits),
        ``signal_words`` (the signal in words, else empty), ``provisional`` and
        ``expected_rate_per_1000``. Unit: events per 1000 line-days.
    marks : DataFrame, optional
        One row an annotation: ``at`` (periods from the middle of the first), ``mark`` (its letter)
        and ``text``. Each is a dashed upright line with its letter above.

    Returns
    -------
    Figure
        Settled points are filled, provisional ones open in a field that shows it; a point that
        breaks a rule is a diamond. Limits are lighter than the rates. A rate far beyond the
        others is shown at the edge with its value next to it.
    """
    chart = theme.plain_in(chart, "label", "signal_words")
    rate = chart["judged_rate_per_1000"].astype("float64")
    upper, lower = chart["upper_limit"], chart["lower_limit"]
    n = len(chart)
    top = top_of_axis(rate, upper)
    figure = theme.quiet(go.Figure(), height=HEIGHT)
    _limits(figure, chart, top)
    _field(figure, chart)
    figure.add_trace(
        go.Scatter(
            name="course",
            x=list(range(n)),
            y=rate.clip(upper=top),
            mode="lines",
            line={"color": theme.BLUE, "width": 1},
            hoverinfo="skip",
        )
    )
    open_ = chart["provisional"].to_numpy(dtype=bool)
    broken = (chart["signal_words"] != "").to_numpy(dtype=bool)
    for name, which, symbol, colour in (
        ("settled", ~open_ & ~broken, "circle", theme.BLUE),
        ("signal", ~open_ & broken, "diamond", theme.RUST),
        (PROVISIONAL, open_ & ~broken, "circle", theme.BLUE),
        (f"{PROVISIONAL} signal", open_ & broken, "diamond", theme.RUST),
    ):
        if which.any():
            figure.add_trace(_points(chart, rate, which, top, name, symbol, colour))
    _expected(figure, chart, open_, top)
    _signal_label(figure, chart, rate, top)
    _limit_labels(figure, n, chart["centre"], lower, upper, top)
    _axes(figure, chart, top)
    if marks is not None and len(marks):
        _annotate(figure, marks, n)
    return figure


def _annotate(figure: go.Figure, marks: pd.DataFrame, n: int) -> None:
    """An upright line for each annotation; letters that would overlap are joined."""
    figure.update_layout(
        height=HEIGHT + LETTERS_ABOVE, margin_t=figure.layout.margin.t + LETTERS_ABOVE
    )
    space = max(n, 1) * LETTER_SHARE
    letters: list[tuple[float, list[str], list[str]]] = []
    for at, mark, text in zip(marks["at"], marks["mark"], marks["text"], strict=True):
        figure.add_shape(
            type="line",
            name="annotation",
            x0=at,
            x1=at,
            yref="paper",
            y0=0,
            y1=1,
            line={"color": theme.INK, "width": 1, "dash": "dash"},
        )
        if letters and at - letters[-1][0] < space:
            letters[-1][1].append(mark)
            letters[-1][2].append(f"{mark}: {text}")
        else:
            letters.append((at, [mark], [f"{mark}: {text}"]))
    for at, names, texts in letters:
        figure.add_annotation(
            x=at,
            yref="paper",
            y=1,
            yanchor="bottom",
            yshift=LETTERS_ABOVE,
            text=f"<b>{' '.join(names)}</b>",
            hovertext="<br>".join(escape(text) for text in texts),
            showarrow=False,
            bgcolor=theme.SHEET,
            bordercolor=theme.INK,
            borderpad=2,
            font={"size": theme.SMALL},
        )


def _limits(figure: go.Figure, chart: pd.DataFrame, top: float) -> None:
    """Limits as steps, a period wide each, and the centre."""
    for name, column, colour in (
        ("upper limit", "upper_limit", theme.EDGE),
        ("lower limit", "lower_limit", theme.EDGE),
        ("centre", "centre", theme.SOFT_INK),
    ):
        values = chart[column].astype("float64").clip(upper=top)
        if values.notna().any():
            x: list[float | None] = []
            y: list[float | None] = []
            for at, value in enumerate(values):
                x += [at - 0.5, at + 0.5, None]
                y += [value, value, None]
            figure.add_trace(
                go.Scatter(
                    name=name,
                    x=x,
                    y=y,
                    mode="lines",
                    line={"color": colour, "width": 1.25},
                    hoverinfo="skip",
                )
            )


def _field(figure: go.Figure, chart: pd.DataFrame) -> None:
    """Shade the provisional periods and say so above them."""
    at = [i for i, is_open in enumerate(chart["provisional"]) if is_open]
    if not at:
        return
    figure.add_shape(
        type="rect",
        x0=at[0] - 0.5,
        x1=at[-1] + 0.5,
        yref="paper",
        y0=0,
        y1=1,
        fillcolor=theme.SHADE,
        line={"width": 0},
        layer="below",
    )
    figure.add_annotation(
        x=at[-1] + 0.5,
        yref="paper",
        y=1,
        xanchor="right",
        yanchor="top",
        text=f"○ {PROVISIONAL}",
        showarrow=False,
        font={"size": theme.SMALL},
    )


def _points(
    chart: pd.DataFrame,
    rate: pd.Series[Any],
    which: Any,
    top: float,
    name: str,
    symbol: str,
    colour: str,
) -> go.Scatter:
    rows = chart[which]
    shown = rate[which]
    far = [v > top for v in shown]
    return go.Scatter(
        name=name,
        x=[i for i, chosen in enumerate(which) if chosen],
        y=shown.clip(upper=top),
        mode="markers+text" if any(far) else "markers",
        text=[f"▲ {v:.1f}" if beyond else "" for v, beyond in zip(shown, far, strict=True)],
        textposition="bottom center",
        textfont={"size": theme.SMALL},
        marker={
            "symbol": symbol,
            "size": 12 if "signal" in name else 9,
            "color": theme.SHEET if PROVISIONAL in name else colour,
            "opacity": 1,
            "line": {"width": 2, "color": colour},
        },
        hovertext=[_hover(row) for row in rows.to_dict("records")],
        hoverinfo="text",
        cliponaxis=False,
    )


def _hover(row: dict[Any, Any]) -> str:
    parts = [
        f"{row['label']}{', ' + PROVISIONAL if row['provisional'] else ''}",
        f"{row['judged_rate_per_1000']:.2f} per 1000 home line-days",
        f"{row['events']} events in {row['judged_days']} home line-days",
    ]
    return "<br>".join([*parts, row["signal_words"]] if row["signal_words"] else parts)


def _expected(figure: go.Figure, chart: pd.DataFrame, open_: Any, top: float) -> None:
    """What a provisional rate may become once late entries are in: a dotted line up to a dash."""
    rows = chart.assign(at=range(len(chart)))[open_]
    rows = rows[rows["expected_rate_per_1000"].notna() & (rows["expected_rate_per_1000"] <= top)]
    if not len(rows):
        return
    x: list[float | None] = []
    y: list[float | None] = []
    for at, known, expected in zip(
        rows["at"], rows["judged_rate_per_1000"], rows["expected_rate_per_1000"], strict=True
    ):
        x += [at, at, None]
        y += [known, expected, None]
    figure.add_trace(
        go.Scatter(
            name="expected",
            x=x,
            y=y,
            mode="lines+markers",
            line={"color": theme.BLUE, "width": 1.5, "dash": "dot"},
            marker={"symbol": "line-ew-open", "size": 8, "color": theme.BLUE},
            hovertext="expected when late entries are in",
            hoverinfo="text",
        )
    )


def _signal_label(figure: go.Figure, chart: pd.DataFrame, rate: pd.Series[Any], top: float) -> None:
    """Name the newest point that breaks a rule: the others have the same mark."""
    broken = [i for i, texts in enumerate(chart["signal_words"]) if texts]
    if not broken:
        return
    at = broken[-1]
    left = at > len(chart) / 2
    figure.add_annotation(
        x=at,
        y=min(float(rate.iloc[at]), top),
        text="<br>".join(
            [f"{chart['label'].iloc[at]}:", *wrap(str(chart["signal_words"].iloc[at]), WRAP)]
        ),
        xanchor="right" if left else "left",
        xshift=-10 if left else 10,
        yshift=12,
        align="right" if left else "left",
        showarrow=False,
        font={"size": theme.SMALL, "color": theme.RUST},
        bgcolor=theme.VEIL,
    )


def _limit_labels(
    figure: go.Figure,
    n: int,
    centre: pd.Series[Any],
    lower: pd.Series[Any],
    upper: pd.Series[Any],
    top: float,
) -> None:
    named = [
        (word, float(values.iloc[-1]))
        for word, values in (("lower", lower), ("centre", centre), ("upper", upper))
        if n and not math.isnan(float(values.iloc[-1]))
    ]
    places = spread([min(v, top) for _, v in named], 0.075 * top, 0, top)
    for (word, value), place in zip(named, places, strict=True):
        figure.add_annotation(
            x=1,
            xref="paper",
            y=place,
            xanchor="left",
            text=f"{word} {value:.2f}" if value else f"{word} 0",
            showarrow=False,
            font={"size": theme.SMALL, "color": theme.SOFT_INK},
        )


def _ticks(labels: list[str]) -> tuple[list[int], list[str], dict[int, str]]:
    """Every month by its first letter, and years by the month they are below; else a few names."""
    if not labels or len(labels) > MOST_MONTHS or labels[0].startswith("Q"):
        step = next((s for s in STEPS if len(labels) <= s * MOST_TICKS), STEPS[-1])
        shown = list(range(0, len(labels), step))
        return shown, [labels[at].replace(" ", "<br>") for at in shown], {}
    years = [label[-4:] for label in labels]
    named = [at for at in range(len(labels)) if at == 0 or years[at] != years[at - 1]]
    if len(named) > 1 and named[1] < YEAR_WIDTH:
        named = named[1:]  # the two years would overlap
    return (
        list(range(len(labels))),
        [label[0] for label in labels],
        {at: years[at] for at in named},
    )


def _axes(figure: go.Figure, chart: pd.DataFrame, top: float) -> None:
    n = len(chart)
    shown, names, years = _ticks([str(label) for label in chart["label"]])
    figure.update_xaxes(
        theme.AXIS,
        range=[-0.6, n - 0.4],
        minor={"dtick": 1, "tick0": 0, "ticks": "outside", "ticklen": 3, "tickcolor": theme.EDGE},
        tickvals=shown,
        ticktext=names,
        tickangle=0,
        showgrid=False,
    )
    figure.update_yaxes(theme.AXIS, range=[-0.03 * top, top * 1.04], nticks=6)
    if n > FEW_MONTHS and years:
        figure.update_xaxes(tickfont_size=SMALLEST)
    for at, year in years.items():
        figure.add_annotation(
            x=at,
            yref="paper",
            y=0,
            yanchor="top",
            yshift=-BELOW_LETTERS,
            text=year,
            showarrow=False,
            font={"size": theme.SMALL, "color": theme.SOFT_INK},
        )
    theme.unit_above(figure, "per 1000 home line-days")
    figure.update_layout(margin_r=84, margin_b=BELOW_LETTERS + 22 if years else 26)
