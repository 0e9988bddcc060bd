"""Which rows does a family's calendar have, and how does each kind of bar and mark look?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboard.figures import theme


@dataclass(frozen=True)
class Track:
    """A row of a group: its name, and whether it is left out where it is empty."""

    name: str
    title: str
    if_any: bool = True


LINE_TRACKS = (
    Track("dressing", "Dressing", if_any=False),
    Track("found", "Dressing found"),
    Track("skin", "Skin", if_any=False),
    Track("red_flag", "Red flag"),
    Track("harm", "Confirmed harm"),
    Track("connector", "Connector"),
    Track("needle", "Needle"),
    Track("flush", "Flush"),
    Track("late", "Came in late"),
    Track("away", "Nights away from home"),
)
FAMILY_TRACKS = (
    Track("log", "Log", if_any=False),
    Track("notes", "Words"),
    Track("calls", "Calls", if_any=False),
    Track("training", "Training"),
)
KEYS = {
    "changed": "● at home",
    "changed_by_clinic": "○ clinic",
    "flushed": "| done",
    "port_accessed": "◁ accessed",
    "port_deaccessed": "▷ de-accessed",
    "out_of_date": "▨ out of date",
    "unscored": "░ not scored",
    "unscheduled": "▭ no day due",
    "not_accessed": "▥ not accessed",
    "found": "◆ loose, damp or soiled",
    "finding": "▲ finding",
    "watched": "△ watched",
    "clear": "| nothing seen",
    "red_flag": "★",
    "harm": "✖",
    "late": "○ done – ▶ received",
    "away": "▤",
    "entry": "| an entry",
    "silent": "▭ nothing logged",
    "note": "◊ a note",
    "reached": "■ reached",
    "not_reached": "□ not reached",
    "sign_off": "◇ sign-off",
    "refresher": "✚ refresher",
}
"""Shape and word of each kind, shown next to the name of a row in which it occurs."""


def _solid(fill: str, edge: str) -> dict[str, Any]:
    return {"color": fill, "line": {"color": edge, "width": 1}}


def _hatched(shape: str, colour: str, solidity: float = 0.35) -> dict[str, Any]:
    # fillmode "replace" paints the ground with bgcolor and the strokes with fgcolor.
    pattern = {
        "shape": shape,
        "fgcolor": colour,
        "bgcolor": "#ffffff",
        "size": 6,
        "solidity": solidity,
        "fillmode": "replace",
    }
    return {"color": colour, "pattern": pattern, "line": {"color": colour, "width": 1}}


SPAN_STYLES: Mapping[str, dict[str, Any]] = {
    "in_date": _solid(theme.PALE_BLUE, theme.BLUE),
    "out_of_date": _hatched("/", theme.RUST),
    "unscored": _hatched(".", theme.SOFT_INK, 0.25),
    "unscheduled": _solid("#ffffff", theme.BLUE),
    "not_accessed": _hatched("|", theme.EDGE, 0.2),
    "away": _hatched("-", theme.SOFT_INK),
    "silent": _solid("#ffffff", theme.INK),
}
MARK_STYLES: Mapping[str, dict[str, Any]] = {
    "changed": {"symbol": "circle", "size": 10, "color": theme.BLUE},
    "changed_by_clinic": {"symbol": "circle-open", "size": 10, "color": theme.BLUE},
    "flushed": {"symbol": "line-ns-open", "size": 8, "color": theme.BLUE},
    "port_accessed": {"symbol": "triangle-left-open", "size": 11, "color": theme.INK},
    "port_deaccessed": {"symbol": "triangle-right-open", "size": 11, "color": theme.INK},
    "found": {"symbol": "diamond", "size": 12, "color": theme.RUST},
    "finding": {"symbol": "triangle-up", "size": 12, "color": theme.PLUM},
    "watched": {"symbol": "triangle-up-open", "size": 11, "color": theme.PLUM},
    "clear": {"symbol": "line-ns-open", "size": 8, "color": theme.SOFT_INK},
    "red_flag": {"symbol": "star", "size": 15, "color": theme.INK},
    "harm": {"symbol": "x", "size": 12, "color": theme.INK},
    "entry": {"symbol": "line-ns-open", "size": 8, "color": theme.SOFT_INK},
    "note": {"symbol": "diamond-tall-open", "size": 12, "color": theme.INK},
    "reached": {"symbol": "square", "size": 11, "color": theme.TEAL},
    "not_reached": {"symbol": "square-open", "size": 11, "color": theme.TEAL},
    "sign_off": {"symbol": "diamond-open", "size": 11, "color": theme.TEAL},
    "refresher": {"symbol": "cross", "size": 12, "color": theme.TEAL},
}
LATE_DONE: dict[str, Any] = {"symbol": "circle-open", "size": 8, "color": theme.RUST}
LATE_RECEIVED: dict[str, Any] = {"symbol": "triangle-right", "size": 10, "color": theme.RUST}
