"""What happened to one line, day by day, in rows that stay readable without colour?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures import theme

ROW_HEIGHT = 46
DAY_MS = 86_400_000


@dataclass(frozen=True)
class Track:
    """A row of the figure: its name and the key to its marks, and whether it may be left out."""

    name: str
    title: str
    key: str
    if_any: bool = False


TRACKS = (
    Track("dressing", "Dressing", "● home  ○ clinic  ▨ out of date"),
    Track("found", "Found loose, damp or soiled", "◆"),
    Track("skin", "Skin", "▲ finding  △ watched  | nothing seen"),
    Track("red_flag", "Red flag", "★"),
    Track("harm", "Confirmed harm", "✖", if_any=True),
    Track("away", "Nights away from home", "▤"),
    Track("log", "Log", "| an entry  ▭ nothing logged"),
    Track("calls", "Calls", "■ reached  □ not reached"),
)

SPAN_TRACKS = {
    "in_date": "dressing",
    "out_of_date": "dressing",
    "unscheduled": "dressing",
    "away": "away",
    "silent": "log",
}


def _solid(fill: str, edge: str) -> dict[str, Any]:
    return {"color": fill, "line": {"color": edge, "width": 1}}


def _hatched(shape: str, colour: str, size: int = 6) -> dict[str, Any]:
    # fillmode "replace" paints the ground with bgcolor and the strokes with fgcolor.
    pattern = {
        "shape": shape,
        "fgcolor": colour,
        "bgcolor": "#ffffff",
        "size": size,
        "solidity": 0.35,
        "fillmode": "replace",
    }
    return {"color": colour, "pattern": pattern, "line": {"color": colour, "width": 1.5}}


SPAN_STYLES: Mapping[str, dict[str, Any]] = {
    "in_date": _solid(theme.PALE_BLUE, theme.BLUE),
    "out_of_date": _hatched("/", theme.RUST),
    "unscheduled": _solid("#ffffff", theme.BLUE),
    "away": _hatched("-", theme.SOFT_INK),
    "silent": _solid("#ffffff", theme.INK),
}

MARK_STYLES: Mapping[str, dict[str, Any]] = {
    "changed": {"symbol": "circle", "size": 11, "color": theme.BLUE},
    "changed_by_clinic": {"symbol": "circle-open", "size": 11, "color": theme.BLUE},
    "found": {"symbol": "diamond", "size": 13, "color": theme.RUST},
    "finding": {"symbol": "triangle-up", "size": 13, "color": theme.PLUM},
    "watched": {"symbol": "triangle-up-open", "size": 12, "color": theme.PLUM},
    "clear": {"symbol": "line-ns-open", "size": 9, "color": theme.SOFT_INK},
    "red_flag": {"symbol": "star", "size": 17, "color": theme.INK},
    "harm": {"symbol": "x", "size": 13, "color": theme.INK},
    "entry": {"symbol": "line-ns-open", "size": 9, "color": theme.SOFT_INK},
    "reached": {"symbol": "square", "size": 12, "color": theme.TEAL},
    "not_reached": {"symbol": "square-open", "size": 12, "color": theme.TEAL},
}


MANY_DAYS = 200
"""Over a longer time the marks are drawn smaller."""
NAME_SHARE = 0.42
"""Share of the width that a name beside a mark may take."""
NAMED = frozenset({"red_flag", "harm"})
"""Marks that are rare and grave enough to be named beside them."""


def line_history(
    spans: pd.DataFrame,
    marks: pd.DataFrame,
    *,
    as_of: date,
    start_on: date,
    due_on: date | None = None,
) -> go.Figure:
    """Draw the history of one line from `start_on` to the as-of day.

    Parameters
    ----------
    spans : DataFrame
        One row a span: kind, start_on, end_on (half-open), label, table, row.
    marks : DataFrame
        One row a mark: track, kind, on, label, table, row.
    as_of : date
        Drawn as a line; nothing is known after it.
    start_on : date
        First day shown.
    due_on : date or None
        Last day on which the next change is on time; shown when it lies ahead.

    Returns
    -------
    Figure
        Every bar and mark carries ``[table, row]`` as its customdata.
    """
    first, now = pd.Timestamp(start_on), pd.Timestamp(as_of)
    spans = spans[(spans["end_on"] > first) & (spans["start_on"] < now)]
    marks = marks[(marks["on"] >= first) & (marks["on"] <= now)]
    tracks = [t for t in TRACKS if not t.if_any or (marks["track"] == t.name).any()]
    heights = {track.name: -float(at) for at, track in enumerate(tracks)}
    figure = go.Figure()
    for kind, style in SPAN_STYLES.items():
        of_kind = spans[spans["kind"] == kind]
        if len(of_kind):
            figure.add_trace(_bars(of_kind, heights[SPAN_TRACKS[kind]], style, first, now))
    scale = 1.0 if (now - first).days <= MANY_DAYS else 0.65
    for kind, style in MARK_STYLES.items():
        of_kind = marks[marks["kind"] == kind]
        if len(of_kind):
            height = heights[str(of_kind["track"].iloc[0])]
            points = _points(of_kind, height, {**style, "size": style["size"] * scale})
            if kind in NAMED:
                points.update(_names(of_kind, now - first))
            figure.add_trace(points)
    filled = set(spans["kind"].map(SPAN_TRACKS)) | set(marks["track"])
    for track in tracks:
        _label(figure, track, heights[track.name], empty=track.name not in filled)
    _mark_days(figure, as_of, due_on, heights["dressing"])
    last = max(now, pd.Timestamp(due_on)) if due_on else now
    room = max((last - first) * 0.04, pd.Timedelta(days=2))
    figure.update_xaxes(
        type="date",
        range=[first - room / 2, last + room],
        tickformat="%-d %b" if (now - first).days < 300 else "%b %Y",
        nticks=7,
        tickangle=0,
        gridcolor=theme.RULE,
        ticks="outside",
        tickcolor=theme.RULE,
        tickfont={"size": theme.SMALL, "color": theme.SOFT_INK},
        fixedrange=True,
        zeroline=False,
    )
    figure.update_yaxes(
        range=[-len(tracks) + 0.45, 0.62], visible=False, fixedrange=True, zeroline=False
    )
    return theme.quiet(figure, height=ROW_HEIGHT * len(tracks) + 52)


def _bars(
    spans: pd.DataFrame,
    height: float,
    style: dict[str, Any],
    first: pd.Timestamp,
    now: pd.Timestamp,
) -> go.Bar:
    start = spans["start_on"].where(spans["start_on"] > first, first)
    end = spans["end_on"].where(spans["end_on"] < now, now)
    lengths = (end - start).dt.days
    return go.Bar(
        orientation="h",
        base=start.dt.strftime("%Y-%m-%d"),
        x=lengths * DAY_MS,
        y=[height - 0.14] * len(spans),
        width=0.34,
        marker=style,
        customdata=spans[["table", "row"]].to_numpy(dtype=object),
        hovertext=_said(spans["label"], spans["start_on"], spans["end_on"]),
        hoverinfo="text",
        name=str(spans["kind"].iloc[0]),
    )


def _said(label: pd.Series[Any], start: pd.Series[Any], end: pd.Series[Any]) -> list[str]:
    days = (end - start).dt.days
    return [
        f"{text}<br>{a:%d %b %Y} to {b:%d %b %Y}, {n} {'day' if n == 1 else 'days'}"
        for text, a, b, n in zip(label, start, end, days, strict=True)
    ]


def _points(marks: pd.DataFrame, height: float, style: dict[str, Any]) -> go.Scatter:
    return go.Scatter(
        mode="markers",
        x=marks["on"].dt.strftime("%Y-%m-%d"),
        y=[height - 0.14] * len(marks),
        marker={**style, "opacity": 1, "line": {"width": 2, "color": style["color"]}},
        customdata=marks[["table", "row"]].to_numpy(dtype=object),
        hovertext=[
            f"{label}<br>{on:%d %b %Y}"
            for label, on in zip(marks["label"], marks["on"], strict=True)
        ],
        hoverinfo="text",
        name=str(marks["kind"].iloc[0]),
        cliponaxis=False,
    )


def _names(marks: pd.DataFrame, shown: pd.Timedelta) -> dict[str, Any]:
    """Texts beside marks: to the left, else to the right, else none where marks crowd."""
    room = shown * NAME_SHARE
    before = marks["on"].diff()
    after = -marks["on"].diff(-1)
    texts, places = [], []
    for label, free_left, free_right in zip(
        marks["label"],
        before.isna() | (before > room),
        after > room,
        strict=True,
    ):
        text = str(label).removeprefix("red flag: ") if free_left or free_right else ""
        texts.append(f" {text} ")
        places.append("middle left" if free_left else "middle right")
    return {
        "mode": "markers+text",
        "text": texts,
        "textposition": places,
        "textfont": {"size": theme.SMALL},
    }


def _label(figure: go.Figure, track: Track, height: float, *, empty: bool) -> None:
    after = "none in this time" if empty else track.key
    figure.add_annotation(
        xref="paper",
        x=0,
        y=height + 0.36,
        xanchor="left",
        text=f"<b>{track.title}</b>  <span style='color:{theme.SOFT_INK}'>{after}</span>",
        showarrow=False,
        align="left",
        font={"size": theme.SMALL},
        bgcolor="rgba(255,255,255,0.85)",
        borderpad=1,
    )


def _mark_days(figure: go.Figure, as_of: date, due_on: date | None, height: float) -> None:
    """Draw the as-of day, and the day the next change is due when it lies ahead."""
    figure.add_shape(
        type="line",
        x0=f"{as_of:%Y-%m-%d}",
        x1=f"{as_of:%Y-%m-%d}",
        yref="paper",
        y0=0,
        y1=1,
        line={"color": theme.INK, "width": 1.5},
        layer="below",
    )
    figure.add_annotation(
        x=f"{as_of:%Y-%m-%d}",
        yref="paper",
        y=1,
        yanchor="bottom",
        text=f"{as_of.day} {as_of:%b}",
        showarrow=False,
        font={"size": theme.SMALL},
    )
    if due_on is not None and due_on > as_of:
        figure.add_annotation(x=f"{due_on:%Y-%m-%d}", y=height - 0.14, text="▽", showarrow=False)
        figure.add_annotation(
            xref="paper",
            x=1,
            y=height + 0.36,
            xanchor="right",
            text=f"▽ due {due_on.day} {due_on:%b}",
            showarrow=False,
            bgcolor="rgba(255,255,255,0.85)",
            font={"size": theme.SMALL},
        )
