"""What happened to a family's lines, day by day, on one calendar that stays readable in grey?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, NamedTuple, TypeVar

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
    """The `group` of its spans and marks."""
    title: str
    due_on: date | None = None
    """Last day on which the next change of the dressing is on time; named when it lies ahead."""


class Span(NamedTuple):
    """A stretch of days."""

    group: str
    """The line whose group it belongs to; blank: the family's own."""
    track: str
    """Row of the figure."""
    kind: str
    start_on: date
    end_on: date
    """Half-open."""
    label: str
    table: str
    row: int | str
    """The stored row, -1: none; or its token."""


class Mark(NamedTuple):
    """What happened on a day; the fields of these names are as those of a `Span`."""

    group: str
    track: str
    kind: str
    on: date
    label: str
    table: str
    row: int | str
    received_on: date | None = None
    """The day on which the clinic got it; None: not an entry of the log."""

    @property
    def last_on(self) -> date:
        """The last day at which it is plotted: a late entry is also at the day it was received."""
        return self.received_on if self.track == "late" and self.received_on else self.on


MANY_DAYS = 200
"""Over a longer time the marks are smaller."""
NAME_SHARE = 0.42
"""Share of the width that a name next to a mark may take."""
NAMED = {"red_flag": "red flag: ", "harm": ""}
"""Marks that are rare and grave enough to be named next to them, without the words given here."""


def family_strip(
    groups: Sequence[Group],
    spans: Sequence[Span],
    marks: Sequence[Mark],
    *,
    as_of: date,
    start_on: date,
) -> dict[str, Any]:
    """Draw everything that is known of a family on one calendar, from `start_on` to the as-of day.

    Parameters
    ----------
    groups : sequence of Group
        Groups of rows from top to bottom; the one with an empty key is the family's own.
    spans : sequence of Span
    marks : sequence of Mark
        A mark of the kind `late` is plotted at its day and at the day it was received, with a thin
        line between them.
    as_of : date
        Plotted as a line; nothing is known after it.
    start_on : date
        First day shown.

    Returns
    -------
    dict
        Data and layout of a plotly figure. Every bar and mark carries ``[table, row]`` as its customdata; a row may be a token.
    """
    first, now = start_on, as_of
    last = max([now, *(group.due_on for group in groups if group.due_on is not None)])
    spans = [span for span in spans if span.end_on > first and span.start_on < now]
    marks = [mark for mark in marks if mark.last_on >= first and mark.on <= now]
    heights, texts, rules, height = _places(groups, spans, marks, as_of)
    data: list[dict[str, Any]] = []
    spans_of = _by_kind(spans, heights)
    for kind, style in SPAN_STYLES.items():
        if kind in spans_of:
            data.append(_bars(spans_of[kind], heights, style, first, now))
    marks_of = _by_kind(marks, heights)
    scale = 1.0 if (now - first).days <= MANY_DAYS else 0.7
    if "late" in marks_of:
        data += _late(marks_of["late"], heights, first, now, scale)
    for kind, style in MARK_STYLES.items():
        if kind in marks_of:
            found = sorted(marks_of[kind], key=lambda mark: (mark.group, mark.on))
            points = _points(found, heights, {**style, "size": style["size"] * scale}, kind)
            named = _names(found, now - first, NAMED[kind]) if kind in NAMED else {}
            data.append({**points, **named})
    space = max((last - first) * 0.04, timedelta(days=1))
    left, right = (datetime.combine(day, time()) for day in (first, last))
    layout = {
        **theme.QUIET,
        "height": height + MARGINS,
        "annotations": [*texts, *_days(groups, heights, as_of)],
        "shapes": [*rules, _as_of_line(as_of)],
        "xaxis": {
            **theme.AXIS,
            "type": "date",
            "range": [f"{left - space / 2:%Y-%m-%d %H:%M}", f"{right + space:%Y-%m-%d %H:%M}"],
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
Shown = TypeVar("Shown", Span, Mark)


def _places(
    groups: Sequence[Group], spans: Sequence[Span], marks: Sequence[Mark], as_of: date
) -> tuple[Places, list[dict[str, Any]], list[dict[str, Any]], int]:
    """Heights of the rows, their names, the rules between groups, and the height of all."""
    filled: dict[tuple[str, str], set[str]] = {}
    shown: list[Span | Mark] = [*spans, *marks]
    for one in shown:
        filled.setdefault((one.group, one.track), set()).add(one.kind)
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


def _by_kind(found: Sequence[Shown], heights: Places) -> dict[str, list[Shown]]:
    """Spans or marks that have a place, by kind."""
    by_kind: dict[str, list[Shown]] = {}
    for one in found:
        if (one.group, one.track) in heights:
            by_kind.setdefault(one.kind, []).append(one)
    return by_kind


def _heights(found: Sequence[Span | Mark], heights: Places) -> list[float]:
    return [heights[one.group, one.track] for one in found]


# -- traces -------------------------------------------------------------------------------------


def _bars(
    spans: Sequence[Span], heights: Places, style: dict[str, Any], first: date, now: date
) -> dict[str, Any]:
    days = [(max(span.start_on, first), min(span.end_on, now)) for span in spans]
    return {
        "type": "bar",
        "name": spans[0].kind,
        "orientation": "h",
        "base": [start.isoformat() for start, _ in days],
        "x": [(end - start).days * DAY_MS for start, end in days],
        "y": _heights(spans, heights),
        "width": THICK,
        "marker": style,
        "customdata": _rows(spans),
        "hovertext": [_hover(span) for span in spans],
        "hoverinfo": "text",
    }


def _rows(found: Sequence[Span | Mark]) -> list[list[Any]]:
    return [[one.table, one.row] for one in found]


def _hover(span: Span) -> str:
    days, text = (span.end_on - span.start_on).days, theme.plain(span.label)
    named = f"{days} {'day' if days == 1 else 'days'}"
    return f"{text}<br>{span.start_on:%d %b %Y} to {span.end_on:%d %b %Y}, {named}"


def _points(
    marks: Sequence[Mark], heights: Places, style: dict[str, Any], name: str
) -> dict[str, Any]:
    labels = [theme.plain(mark.label) for mark in marks]
    return {
        "type": "scatter",
        "name": name,
        "mode": "markers",
        "x": [mark.on.isoformat() for mark in marks],
        "y": _heights(marks, heights),
        "marker": {**style, "opacity": 1, "line": {"width": 2, "color": style["color"]}},
        "customdata": _rows(marks),
        "hovertext": labels[0] if len(set(labels)) == 1 else labels,
        "hovertemplate": "%{hovertext}<br>%{x|%d %b %Y}<extra></extra>",
        "cliponaxis": False,
    }


def _late(
    marks: Sequence[Mark], heights: Places, first: date, now: date, scale: float
) -> list[dict[str, Any]]:
    """Entries that came in late, at the day they speak of and at the day they were received."""
    done, received = [], []
    x: list[str | None] = []
    y: list[float | None] = []
    for mark in marks:
        days, until = (mark.last_on - mark.on).days, min(mark.last_on, now)
        label = f"{mark.label}, received {mark.last_on:%d %b %Y}, {days} days later"
        if mark.on >= first:
            done.append(mark._replace(label=label))
        received.append(mark._replace(label=label, on=until))
        at = heights[mark.group, mark.track]
        x += [max(mark.on, first).isoformat(), until.isoformat(), None]
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
    ends = [
        _points(found, heights, {**style, "size": style["size"] * scale}, name)
        for found, style, name in (
            (done, LATE_DONE, "done"),
            (received, LATE_RECEIVED, "received"),
        )
        if found
    ]
    return [between, *ends]


def _names(marks: Sequence[Mark], shown: timedelta, leave_out: str) -> dict[str, Any]:
    """Texts next to marks: to the left, else to the right, else none where marks crowd."""
    space = shown * NAME_SHARE
    texts, places = [], []
    for before, mark, after in zip([None, *marks], marks, [*marks[1:], None], strict=False):
        free_left = before is None or before.group != mark.group or mark.on - before.on > space
        free_right = after is not None and after.group == mark.group and after.on - mark.on > space
        text = theme.plain(mark.label) if free_left or free_right else ""
        texts.append(f" {text.removeprefix(leave_out)} ")
        places.append("middle left" if free_left else "middle right")
    return {
        "mode": "markers+text",
        "text": texts,
        "textposition": places,
        "textfont": {"size": theme.SMALL},
    }
