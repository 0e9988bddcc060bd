"""What happened to a family's lines, day by day, on one calendar that stays readable in grey?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from dashboard.figures import theme
from dashboard.figures.family_strip_styles import (
    FAMILY_TRACKS,
    KEYS,
    LATE_DONE,
    LATE_RECEIVED,
    LINE_TRACKS,
    MARK_STYLES,
    SPAN_STYLES,
)

DAY_MS = 86_400_000
HEAD_HEIGHT = 30
DUE_HEIGHT = 16
ROW_HEIGHT = 40
MARGINS = 52
"""Heights in pixels; a step of the upright axis is a pixel."""
TITLE_BELOW = 9
MARKS_BELOW = 27
"""How far below the top of a row its name and its marks are."""
THICK = 14
NAME_LENGTH = 40
"""Most characters in a line of a row's name and key, so that a screen of 320 pixels holds it."""
LINE_HEIGHT = 16


@dataclass(frozen=True)
class Group:
    """Rows that belong together: those of a line, or the family's own."""

    key: str
    """As in the frames' column `group`."""
    title: str
    due_on: date | None = None
    """Last day on which the next change of the dressing is on time; named when it lies ahead."""


MANY_DAYS = 200
"""Over a longer time the marks are smaller."""
NAME_SHARE = 0.42
"""Share of the width that a name next to a mark may take."""
NAMED = {"red_flag": "red flag: ", "harm": ""}
"""Marks that are rare and grave enough to be named next to them, without the words given here."""


def family_strip(
    groups: Sequence[Group],
    spans: pd.DataFrame,
    marks: pd.DataFrame,
    *,
    as_of: date,
    start_on: date,
) -> dict[str, Any]:
    """Draw everything that is known of a family on one calendar, from `start_on` to the as-of day.

    Parameters
    ----------
    groups : sequence of Group
        Groups of rows from top to bottom; the one with an empty key is the family's own.
    spans : DataFrame
        One row a span: group, track, kind, start_on, end_on (half-open), label, table, row.
    marks : DataFrame
        One row a mark: group, track, kind, on, label, table, row, received_on. A mark of the kind
        `late` is plotted at its day and at the day it was received, with a thin line between them.
    as_of : date
        Plotted as a line; nothing is known after it.
    start_on : date
        First day shown.

    Returns
    -------
    dict
        Data and layout of a plotly figure. Every bar and mark carries ``[table, row]`` as its customdata; a row may be a token.
    """
    spans, marks = theme.plain_in(spans, "label"), theme.plain_in(marks, "label")
    first, now = pd.Timestamp(start_on), pd.Timestamp(as_of)
    last = max([now, *(pd.Timestamp(g.due_on) for g in groups if g.due_on is not None)])
    spans = spans[((spans["end_on"] > first) & (spans["start_on"] < now)).to_numpy(dtype=bool)]
    until = marks["received_on"].where((marks["track"] == "late").to_numpy(dtype=bool), marks["on"])
    marks = marks[((until >= first) & (marks["on"] <= now)).to_numpy(dtype=bool)]
    heights, texts, rules, height = _places(groups, spans, marks, as_of)
    data: list[dict[str, Any]] = []
    placed = _placed(spans, heights)
    for kind, style in SPAN_STYLES.items():
        rows = placed[(placed["kind"] == kind).to_numpy(dtype=bool)]
        if len(rows):
            data.append(_bars(rows, style, first, now))
    placed = _placed(marks, heights)
    scale = 1.0 if (now - first).days <= MANY_DAYS else 0.7
    late = placed[(placed["kind"] == "late").to_numpy(dtype=bool)]
    if len(late):
        data += _late(late, first, now, scale)
    for kind, style in MARK_STYLES.items():
        rows = placed[(placed["kind"] == kind).to_numpy(dtype=bool)]
        if len(rows):
            rows = rows.sort_values(["group", "on"])
            points = _points(rows, "on", {**style, "size": style["size"] * scale}, kind)
            named = _names(rows, now - first, NAMED[kind]) if kind in NAMED else {}
            data.append({**points, **named})
    space = max((last - first) * 0.04, pd.Timedelta(days=1))
    layout = {
        **theme.QUIET,
        "height": height + MARGINS,
        "annotations": [*texts, *_days(groups, heights, as_of)],
        "shapes": [*rules, _as_of_line(as_of)],
        "xaxis": {
            **theme.AXIS,
            "type": "date",
            "range": [f"{first - space / 2:%Y-%m-%d %H:%M}", f"{last + space:%Y-%m-%d %H:%M}"],
            "tickformat": "%-d %b" if (now - first).days < 300 else "%b %Y",
            "nticks": 7,
            "showgrid": True,
        },
        "yaxis": {"range": [-height, 0], "visible": False, "fixedrange": True},
    }
    # A figure object checks each of its parts, which takes longer than all else on the page.
    return {"data": data, "layout": layout}


# -- places -------------------------------------------------------------------------------------

Places = dict[tuple[str, str], float]


def _places(
    groups: Sequence[Group], spans: pd.DataFrame, marks: pd.DataFrame, as_of: date
) -> tuple[Places, list[dict[str, Any]], list[dict[str, Any]], int]:
    """Heights of the rows, their names, the rules between groups, and the height of all."""
    filled: dict[tuple[str, str], set[str]] = {}
    for frame in (spans, marks):
        different = frame[["group", "track", "kind"]].drop_duplicates()
        for of_group, of_track, kind in different.itertuples(index=False):
            filled.setdefault((of_group, of_track), set()).add(kind)
    heights: Places = {}
    texts: list[dict[str, Any]] = []
    rules: list[dict[str, Any]] = []
    down = 0
    for group in groups:
        rules.append(_rule(down))
        texts.append(_text(f"<b>{theme.plain(group.title)}</b>", down + 14, size=theme.TEXT))
        down += HEAD_HEIGHT
        if _is_ahead(group, as_of):
            texts.append(_text(f"▽ change due {group.due_on:%-d %b}", down + 4))
            down += DUE_HEIGHT
        for track in LINE_TRACKS if group.key else FAMILY_TRACKS:
            kinds = filled.get((group.key, track.name), set())
            if track.if_any and not kinds:
                continue
            lines = _name(track.title, [word for kind, word in KEYS.items() if kind in kinds])
            more = LINE_HEIGHT * (len(lines) - 1)
            texts.append(_text("<br>".join(lines), down + TITLE_BELOW + more / 2))
            heights[group.key, track.name] = -float(down + more + MARKS_BELOW)
            down += ROW_HEIGHT + more
    return heights, texts, rules, down


def _name(title: str, words: Sequence[str]) -> list[str]:
    """Lines that hold a row's name and, in softer ink, the shapes and words in it."""
    lines = [[title]]
    for word in words or ["none in this time"]:
        if len("  ".join([*lines[-1], word])) > NAME_LENGTH:
            lines.append([])
        lines[-1].append(word)
    soft = f"<span style='color:{theme.SOFT_INK}'>"
    first = f"{title}  {soft}{'  '.join(lines[0][1:])}</span>"
    return [first, *(f"{soft}{'  '.join(line)}</span>" for line in lines[1:])]


def _text(text: str, below: float, size: int = theme.SMALL) -> dict[str, Any]:
    return {
        "xref": "paper",
        "x": 0,
        "y": -below,
        "xanchor": "left",
        "yanchor": "middle",
        "text": text,
        "showarrow": False,
        "align": "left",
        "font": {"size": size},
        "bgcolor": theme.VEIL,
        "borderpad": 0,
    }


def _rule(down: float) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "y0": -down,
        "y1": -down,
        "line": {"color": theme.EDGE, "width": 1},
    }


def _as_of_line(as_of: date) -> dict[str, Any]:
    day = f"{as_of:%Y-%m-%d}"
    return {
        "type": "line",
        "x0": day,
        "x1": day,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"color": theme.INK, "width": 1.5},
        "layer": "below",
    }


def _days(groups: Sequence[Group], heights: Places, as_of: date) -> list[dict[str, Any]]:
    """The as-of day, and the day each next change is due when it lies ahead."""
    found: list[dict[str, Any]] = [
        {
            "x": f"{as_of:%Y-%m-%d}",
            "yref": "paper",
            "y": 1,
            "yanchor": "bottom",
            "text": f"{as_of.day} {as_of:%b}",
            "showarrow": False,
            "font": {"size": theme.SMALL},
        }
    ]
    for group in groups:
        if _is_ahead(group, as_of):
            at = heights[group.key, "dressing"]
            day = f"{group.due_on:%Y-%m-%d}"
            found.append({"x": day, "y": at, "text": "▽", "showarrow": False})
    return found


def _is_ahead(group: Group, as_of: date) -> bool:
    return group.due_on is not None and group.due_on > as_of


def _placed(frame: pd.DataFrame, heights: Places) -> pd.DataFrame:
    """Rows that have a place, with it as `y`."""
    keys = zip(frame["group"], frame["track"], strict=True)
    y = pd.Series([heights.get(key) for key in keys], index=frame.index, dtype="float64")
    return frame.assign(y=y)[y.notna().to_numpy(dtype=bool)]


# -- traces -------------------------------------------------------------------------------------


def _bars(
    spans: pd.DataFrame, style: dict[str, Any], first: pd.Timestamp, now: pd.Timestamp
) -> dict[str, Any]:
    start = spans["start_on"].where(spans["start_on"] > first, first)
    end = spans["end_on"].where(spans["end_on"] < now, now)
    return {
        "type": "bar",
        "name": str(spans["kind"].iloc[0]),
        "orientation": "h",
        "base": start.dt.strftime("%Y-%m-%d").tolist(),
        "x": ((end - start).dt.days * DAY_MS).tolist(),
        "y": spans["y"].tolist(),
        "width": THICK,
        "marker": style,
        "customdata": _rows(spans),
        "hovertext": _hover(spans["label"], spans["start_on"], spans["end_on"]),
        "hoverinfo": "text",
    }


def _rows(frame: pd.DataFrame) -> list[list[Any]]:
    shown = [row if isinstance(row, str) else int(row) for row in frame["row"]]
    return [[table, row] for table, row in zip(frame["table"], shown, strict=True)]


def _hover(label: pd.Series[Any], start: pd.Series[Any], end: pd.Series[Any]) -> list[str]:
    days = (end - start).dt.days
    return [
        f"{text}<br>{a:%d %b %Y} to {b:%d %b %Y}, {n} {'day' if n == 1 else 'days'}"
        for text, a, b, n in zip(label, start, end, days, strict=True)
    ]


def _points(marks: pd.DataFrame, on: str, style: dict[str, Any], name: str) -> dict[str, Any]:
    labels = [str(label) for label in marks["label"]]
    return {
        "type": "scatter",
        "name": name,
        "mode": "markers",
        "x": marks[on].dt.strftime("%Y-%m-%d").tolist(),
        "y": marks["y"].tolist(),
        "marker": {**style, "opacity": 1, "line": {"width": 2, "color": style["color"]}},
        "customdata": _rows(marks),
        "hovertext": labels[0] if len(set(labels)) == 1 else labels,
        "hovertemplate": "%{hovertext}<br>%{x|%d %b %Y}<extra></extra>",
        "cliponaxis": False,
    }


def _late(
    marks: pd.DataFrame, first: pd.Timestamp, now: pd.Timestamp, scale: float
) -> list[dict[str, Any]]:
    """Entries that came in late, at the day they speak of and at the day they were received."""
    done, received = marks["on"], marks["received_on"].where(marks["received_on"] < now, now)
    days = (marks["received_on"] - done).dt.days
    marks = marks.assign(
        received=received,
        label=[
            f"{label}, received {day:%d %b %Y}, {n} days later"
            for label, day, n in zip(marks["label"], marks["received_on"], days, strict=True)
        ],
    )
    x: list[str | None] = []
    y: list[float | None] = []
    starts = done.where(done > first, first).dt.strftime("%Y-%m-%d")
    for a, b, at in zip(starts, received.dt.strftime("%Y-%m-%d"), marks["y"], strict=True):
        x += [a, b, None]
        y += [at, at, None]
    between = {
        "type": "scatter",
        "name": "done to received",
        "mode": "lines",
        "x": x,
        "y": y,
        "line": {"color": theme.RUST, "width": 1},
        "hoverinfo": "skip",
    }
    shown = marks[(done >= first).to_numpy(dtype=bool)]
    ends = [
        _points(rows, on, {**style, "size": style["size"] * scale}, name)
        for rows, on, style, name in (
            (shown, "on", LATE_DONE, "done"),
            (marks, "received", LATE_RECEIVED, "received"),
        )
        if len(rows)
    ]
    return [between, *ends]


def _names(marks: pd.DataFrame, shown: pd.Timedelta, leave_out: str) -> dict[str, Any]:
    """Texts next to marks: to the left, else to the right, else none where marks crowd."""
    space = shown * NAME_SHARE
    same = (marks["group"] == marks["group"].shift()).to_numpy(dtype=bool)
    next_same = (marks["group"] == marks["group"].shift(-1)).to_numpy(dtype=bool)
    before, after = marks["on"].diff(), -marks["on"].diff(-1)
    texts, places = [], []
    for label, free_left, free_right in zip(
        marks["label"],
        before.isna() | (before > space) | ~same,
        (after > space) & next_same,
        strict=True,
    ):
        text = str(label).removeprefix(leave_out) if free_left or free_right else ""
        texts.append(f" {text} ")
        places.append("middle left" if free_left else "middle right")
    return {
        "mode": "markers+text",
        "text": texts,
        "textposition": places,
        "textfont": {"size": theme.SMALL},
    }
