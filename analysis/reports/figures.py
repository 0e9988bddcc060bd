"""How are the figures of a paper drawn, so that they read in black and white?

Plain SVG: the same drawing on a page, in a file and in print. What differs, differs by shape,
dash, hatch or label.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

WIDTH = 640
INK, SOFT, RULE, PALE = "#1d2530", "#4a5361", "#d5d0c4", "#efebe1"
FONT = "'Liberation Sans', Arial, 'DejaVu Sans', sans-serif"
SMALL = 12
LEFT, RIGHT, TOP, BOTTOM = 44, 96, 26, 40
MOST_LABELS = 14
LETTER = 0.56
"""Mean width of a letter over its size."""
FAR = 3.0
"""A value so many times beyond the middle of the limits is drawn at the edge with its number."""


@dataclass
class _Sheet:
    """A drawing in the making."""

    height: int
    parts: list[str] = field(default_factory=list)

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        *,
        colour: str = INK,
        width: float = 1.0,
        dash: str = "",
    ) -> None:
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
            f'stroke="{colour}" stroke-width="{width:g}"{dashed}/>'
        )

    def box(
        self, x: float, y: float, width: float, height: float, *, fill: str, edge: str = "none"
    ) -> None:
        self.parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" '
            f'height="{max(height, 0):.1f}" fill="{fill}" stroke="{edge}" stroke-width="1"/>'
        )

    def text(
        self,
        x: float,
        y: float,
        said: str,
        *,
        at: str = "start",
        colour: str = SOFT,
        bold: bool = False,
    ) -> None:
        weight = ' font-weight="bold"' if bold else ""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{SMALL}" text-anchor="{at}" '
            f'fill="{colour}"{weight}>{escape(said)}</text>'
        )

    def dot(self, x: float, y: float, *, hollow: bool = False, diamond: bool = False) -> None:
        fill = "#ffffff" if hollow else INK
        edge = f'fill="{fill}" stroke="{INK}" stroke-width="1.6"'
        if diamond:
            r = 6.5
            corners = (
                f"{x:.1f},{y - r:.1f} {x + r:.1f},{y:.1f} {x:.1f},{y + r:.1f} {x - r:.1f},{y:.1f}"
            )
            self.parts.append(f'<polygon points="{corners}" {edge}/>')
        else:
            self.parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" {edge}/>')

    def done(self) -> str:
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {self.height}" '
            f'width="{WIDTH}" height="{self.height}" font-family="{FONT}" aria-hidden="true">'
            f"{''.join(self.parts)}</svg>"
        )


@dataclass(frozen=True)
class Point:
    """A value with its limits; nan where there is none."""

    label: str
    value: float
    lower: float = math.nan
    upper: float = math.nan
    open: bool = False
    """Provisional, or not over: drawn hollow."""
    marked: bool = False
    """Breaks a rule of the chart: drawn as a diamond."""


def steps_to(top: float) -> list[float]:
    """Round marks of an axis from 0 to `top`, about five.

    Examples
    --------
    >>> steps_to(8.1), steps_to(1.0)
    ([0.0, 2.0, 4.0, 6.0, 8.0], [0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
    """
    raw = top / 5
    size = 10.0 ** math.floor(math.log10(raw))
    step = next(s * size for s in (1, 2, 2.5, 5, 10) if s * size >= raw * 0.999)
    return [round(n * step, 9) for n in range(int(top / step + 1e-9) + 1)]


def control_chart(
    points: Sequence[Point],
    centre: Sequence[float],
    lower: Sequence[float],
    upper: Sequence[float],
    unit: str,
) -> str:
    """Rates by period with centre and limits.

    Parameters
    ----------
    points : sequence of Point
        In order of time; hidden or missing values are gaps.
    centre, lower, upper : sequence of float, same length
        Limits of each period: solid centre, dashed limits.
    unit : str
        Unit of the upright axis.
    """
    top = _top([p.value for p in points], upper)
    sheet, x, y = _field(280, len(points), top, unit)
    half = (x(1) - x(0)) / 2 if len(points) > 1 else 40.0
    for values, dash, width in ((lower, "5 3", 1.1), (centre, "", 1.1), (upper, "5 3", 1.1)):
        for at, value in enumerate(values):
            if math.isfinite(value):
                level = y(min(value, top))
                sheet.line(
                    x(at) - half, level, x(at) + half, level, colour=SOFT, width=width, dash=dash
                )
    _course(sheet, points, x, y, top)
    _names(sheet, [p.label for p in points], x)
    ends = [(n, v[-1]) for n, v in (("lower", lower), ("centre", centre), ("upper", upper)) if v]
    known = [(n, v) for n, v in ends if math.isfinite(v)]
    places = _apart([y(min(v, top)) for _, v in known], 14)
    for (name, value), place in zip(known, places, strict=True):
        sheet.text(WIDTH - RIGHT + half + 4, place + 4, f"{name} {value:.2f}")
    return sheet.done()


def shares(points: Sequence[Point], unit: str) -> str:
    """Shares by period, each with its limits as an upright line, from 0 to 100 %."""
    known = [v for p in points for v in (p.value, p.lower) if math.isfinite(v)]
    floor = 0.5 if known and min(known) >= 0.55 else 0.0
    sheet, x, y = _field(240, len(points), 1.0, unit, floor=floor, percent=True)
    for at, p in enumerate(points):
        if math.isfinite(p.lower) and math.isfinite(p.upper):
            sheet.line(x(at), y(p.lower), x(at), y(p.upper), colour=SOFT, width=1.4)
            for end in (p.lower, p.upper):
                sheet.line(x(at) - 4, y(end), x(at) + 4, y(end), colour=SOFT, width=1.4)
    _course(sheet, points, x, y, 1.0)
    _names(sheet, [p.label for p in points], x)
    last = next((p for p in reversed(points) if math.isfinite(p.value)), None)
    if last is not None:
        at = [p is last for p in points].index(True)
        sheet.text(
            x(at) + 12, y(last.value) + 4, f"{100 * last.value:.0f} %", colour=INK, bold=True
        )
    return sheet.done()


_HATCH = (
    '<defs><pattern id="NAME" width="5" height="5" patternUnits="userSpaceOnUse">'
    f'<rect width="5" height="5" fill="#ffffff"/><path d="M-1 6L6 -1M-1 1L1 -1M4 6L6 4" '
    f'stroke="{INK}" stroke-width="1.3"/></pattern></defs>'
)


def bars(labels: Sequence[str], series: Sequence[tuple[str, Sequence[float]]], unit: str) -> str:
    """Counts side by side: plain, hatched, solid; up to three series, missing ones left out."""
    known = [v for _, values in series for v in values if math.isfinite(v)]
    top = max([*known, 1.0]) * 1.1
    sheet, x, y = _field(230, len(labels), top, unit)
    # A name of its own: a paper holds several figures, and a page may hold no name twice.
    hatch = f"hatch-{re.sub(r'[^a-z]+', '-', unit.lower())}"
    fills = ("#ffffff", f"url(#{hatch})", INK)
    if len(series) > 1:
        sheet.parts.insert(0, _HATCH.replace("NAME", hatch))
    room = (x(1) - x(0)) * 0.78 if len(labels) > 1 else 60.0
    width = min(room / len(series), 26.0)
    for nth, (_, values) in enumerate(series):
        for at, value in enumerate(values):
            if math.isfinite(value):
                left = x(at) - width * len(series) / 2 + nth * width
                sheet.box(left, y(value), width, y(0) - y(value), fill=fills[nth], edge=INK)
                if value and (len(labels) <= 16 or nth == 0):
                    sheet.text(left + width / 2, y(value) - 3, f"{value:g}", at="middle")
    _names(sheet, labels, x)
    if len(series) > 1:
        place = WIDTH - RIGHT - 6.0
        for nth, (name, _) in reversed(list(enumerate(series))):
            place -= LETTER * SMALL * len(name) + 6
            sheet.text(place, 14, name)
            place -= 18
            sheet.box(place, 4, 12, 11, fill=fills[nth], edge=INK)
            place -= 12
    return sheet.done()


def ranges(
    points: Sequence[Point],
    unit: str,
    *,
    reference: float | None,
    named: str = "",
    ratio: bool = False,
) -> str:
    """Values with their limits lying, one row each, and a dashed line to compare with.

    With `ratio` the axis is one of doublings, and a ratio of 1 stands where nothing changes.
    """
    known = [v for p in points for v in (p.value, p.lower, p.upper) if math.isfinite(v)]
    left, right = 190, 24
    height = 44 + 26 * len(points) + 26
    sheet = _Sheet(height)
    if ratio:
        wide = [abs(math.log2(v)) for v in known if v > 0]
        reach = min(max([*wide, 1.0]), 4.0)
        marks = [2.0**n for n in range(-math.floor(reach), math.floor(reach) + 1)]

        def x(value: float) -> float:
            at = max(min(math.log2(value), reach), -reach) if value > 0 else -reach
            return left + (at + reach) / (2 * reach) * (WIDTH - left - right)
    else:
        top = _top([p.value for p in points], [p.upper for p in points])
        marks = steps_to(top)

        def x(value: float) -> float:
            return left + min(value, top) / top * (WIDTH - left - right)

    floor = height - 40
    for mark in marks:
        sheet.line(x(mark), 30, x(mark), floor, colour=RULE)
        sheet.text(x(mark), floor + 16, f"{mark:g}", at="middle")
    sheet.text(left, floor + 34, unit)
    if reference is not None and math.isfinite(reference):
        sheet.line(x(reference), 26, x(reference), floor, colour=SOFT, width=1.4, dash="5 3")
        sheet.text(x(reference), 18, named, at="middle")
    for at, p in enumerate(points):
        level = 30 + 26 * at + 15.0
        sheet.text(left - 10, level + 4, p.label, at="end", colour=INK)
        if math.isfinite(p.lower) and not math.isnan(p.upper):
            sheet.line(x(p.lower), level, x(p.upper), level, width=1.6)
        if math.isfinite(p.value):
            sheet.dot(x(p.value), level, hollow=p.open)
        else:
            sheet.text(left + 6, level + 4, "cannot be told")
    return sheet.done()


# -- shared --------------------------------------------------------------------------------


def _top(values: Iterable[float], limits: Iterable[float]) -> float:
    """End of an axis: one period with few line-days may not squeeze the rest."""
    known = [v for v in values if math.isfinite(v)]
    wide = sorted(v for v in limits if math.isfinite(v))
    middle = wide[len(wide) // 2] if wide else max(known, default=0.0)
    fair = [v for v in (*known, *wide) if v <= FAR * middle]
    return 1.12 * max(fair, default=0.0) or 1.0


Scale = Callable[[float], float]


def _field(
    height: int, count: int, top: float, unit: str, *, floor: float = 0.0, percent: bool = False
) -> tuple[_Sheet, Scale, Scale]:
    """A sheet with its upright axis, and where a period and a value lie on it."""
    sheet = _Sheet(height)
    low, high = height - BOTTOM, TOP
    each = (WIDTH - LEFT - RIGHT) / max(count, 1)

    def x(at: float) -> float:
        return LEFT + (at + 0.5) * each

    def y(value: float) -> float:
        return low - (max(value, floor) - floor) / (top - floor) * (low - high)

    for mark in steps_to(top):
        if mark >= floor:
            sheet.line(LEFT, y(mark), WIDTH - RIGHT, y(mark), colour=RULE)
            said = f"{100 * mark:.0f}" if percent else f"{mark:g}"
            sheet.text(LEFT - 6, y(mark) + 4, said, at="end")
    sheet.text(0, 14, unit)
    return sheet, x, y


def _course(sheet: _Sheet, points: Sequence[Point], x: Scale, y: Scale, top: float) -> None:
    """Dots joined by a line; a gap where there is no value, the number where it is far off."""
    for at in range(1, len(points)):
        before, after = points[at - 1].value, points[at].value
        if math.isfinite(before) and math.isfinite(after):
            sheet.line(x(at - 1), y(min(before, top)), x(at), y(min(after, top)))
    for at, p in enumerate(points):
        if math.isfinite(p.value):
            sheet.dot(x(at), y(min(p.value, top)), hollow=p.open, diamond=p.marked)
            if p.value > top:
                sheet.text(x(at), y(top) + 18, f"▲ {p.value:.1f}", at="middle", colour=INK)


def _names(sheet: _Sheet, labels: Sequence[str], x: Scale) -> None:
    """Labels below the axis in two lines, as many as there is room for; the last always."""
    step = max(1, math.ceil(len(labels) / MOST_LABELS))
    for at, label in enumerate(labels):
        if (len(labels) - 1 - at) % step == 0:
            head, _, rest = label.partition(" ")
            sheet.text(x(at), sheet.height - BOTTOM + 16, head, at="middle")
            sheet.text(x(at), sheet.height - BOTTOM + 30, rest, at="middle")


def _apart(places: list[float], gap: float) -> list[float]:
    """Move labels apart, each by as little as leaves the one below in its place.

    Examples
    --------
    >>> _apart([200.0, 195.0, 20.0], 14)
    [200.0, 186.0, 20.0]
    """
    moved: list[float] = []
    for place in places:
        moved.append(min(place, moved[-1] - gap) if moved else place)
    return moved
