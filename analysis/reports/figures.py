"""Which shapes make up the figures of a report, so that they read in black and white?

The same drawing on a page, in a file and in print. What differs, differs by shape, dash, hatch or
label.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from analysis.reports.drawing import INK, RULE, SOFT, WHITE, WIDTH, Box, Dot, Drawing, Line, Text

SMALL = 12
LEFT, RIGHT, TOP, BOTTOM = 44, 96, 26, 40
MOST_LABELS = 14
LETTER = 0.56
"""Mean width of a letter over its size."""
FAR = 3.0
"""A value more than so many times the middle limit is plotted at the edge with its number."""


@dataclass(frozen=True)
class Point:
    """A value with its limits; nan where there is none."""

    label: str
    value: float
    lower: float = math.nan
    upper: float = math.nan
    open: bool = False
    """Provisional, or not over: shown hollow."""
    marked: bool = False
    """Breaks a rule of the chart: shown as a diamond."""


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
) -> Drawing:
    """Rates by period with centre and limits.

    Parameters
    ----------
    points : sequence of Point
        In order of time; hidden or missing values are gaps.
    centre, lower, upper : sequence of float, same length
        Limits of each period: solid centre, dashed limits.
    unit : str
        Unit of the vertical axis.
    """
    top = _top([p.value for p in points], upper)
    drawing, x, y = _field(280, len(points), top, unit)
    half = (x(1) - x(0)) / 2 if len(points) > 1 else 40.0
    for values, dash in ((lower, "5 3"), (centre, ""), (upper, "5 3")):
        for at, value in enumerate(values):
            if math.isfinite(value):
                level = y(min(value, top))
                drawing.add(Line(x(at) - half, level, x(at) + half, level, SOFT, 1.1, dash))
    _course(drawing, points, x, y, top)
    _names(drawing, [p.label for p in points], x)
    ends = [(n, v[-1]) for n, v in (("lower", lower), ("centre", centre), ("upper", upper)) if v]
    known = [(n, v) for n, v in ends if math.isfinite(v)]
    places = _apart([y(min(v, top)) for _, v in known], 14)
    for (name, value), place in zip(known, places, strict=True):
        drawing.add(Text(WIDTH - RIGHT + half + 4, place + 4, f"{name} {value:.2f}"))
    return drawing


def shares(points: Sequence[Point], unit: str) -> Drawing:
    """Shares by period, each with its limits as a vertical line, from 0 to 100 %."""
    known = [v for p in points for v in (p.value, p.lower) if math.isfinite(v)]
    floor = 0.5 if known and min(known) >= 0.55 else 0.0
    drawing, x, y = _field(240, len(points), 1.0, unit, floor=floor, percent=True)
    for at, p in enumerate(points):
        if math.isfinite(p.lower) and math.isfinite(p.upper):
            drawing.add(Line(x(at), y(p.lower), x(at), y(p.upper), SOFT, 1.4))
            for end in (p.lower, p.upper):
                drawing.add(Line(x(at) - 4, y(end), x(at) + 4, y(end), SOFT, 1.4))
    _course(drawing, points, x, y, 1.0)
    _names(drawing, [p.label for p in points], x)
    last = max((at for at, p in enumerate(points) if math.isfinite(p.value)), default=None)
    if last is not None:
        value = points[last].value
        drawing.add(Text(x(last) + 12, y(value) + 4, f"{100 * value:.0f} %", colour=INK, bold=True))
    return drawing


def bars(
    labels: Sequence[str], series: Sequence[tuple[str, Sequence[float]]], unit: str
) -> Drawing:
    """Counts side by side: plain, hatched, solid; up to three series, missing ones left out."""
    known = [v for _, values in series for v in values if math.isfinite(v)]
    top = max([*known, 1.0]) * 1.1
    drawing, x, y = _field(230, len(labels), top, unit)
    drawing.name = re.sub(r"[^a-z]+", "-", unit.lower()).strip("-")
    wide = (x(1) - x(0)) * 0.78 if len(labels) > 1 else 60.0
    width = min(wide / len(series), 26.0)
    for nth, (_, values) in enumerate(series):
        for at, value in enumerate(values):
            if math.isfinite(value):
                left = x(at) - width * len(series) / 2 + nth * width
                drawing.add(_bar(nth, left, y(value), width, max(y(0) - y(value), 0.0)))
                if value and (len(labels) <= 16 or nth == 0):
                    drawing.add(Text(left + width / 2, y(value) - 3, f"{value:g}", "middle"))
    _names(drawing, labels, x)
    if len(series) > 1:
        place = WIDTH - RIGHT - 6.0
        for nth, (name, _) in reversed(list(enumerate(series))):
            place -= LETTER * SMALL * len(name) + 6
            drawing.add(Text(place, 14, name))
            place -= 18
            drawing.add(_bar(nth, place, 4, 12, 11))
            place -= 12
    return drawing


def _bar(nth: int, x: float, y: float, width: float, height: float) -> Box:
    return Box(x, y, width, height, fill=INK if nth == 2 else WHITE, hatched=nth == 1)


def ranges(
    points: Sequence[Point],
    unit: str,
    *,
    reference: float | None,
    named: str = "",
    ratio: bool = False,
) -> Drawing:
    """Values with their limits as horizontal bars, one row each, and a dashed line to compare with.

    With `ratio` the axis is one of doublings, and a ratio of 1 means no change.
    """
    left, right = 190, 24
    height = 44 + 26 * len(points) + 26
    drawing = Drawing(height)
    along = _doublings(points) if ratio else _from_zero(points)

    def x(value: float) -> float:
        return left + along.part(value) * (WIDTH - left - right)

    floor = height - 40
    for mark in along.marks:
        drawing.add(
            Line(x(mark), 30, x(mark), floor, RULE),
            Text(x(mark), floor + 16, f"{mark:g}", "middle"),
        )
    drawing.add(Text(left, floor + 34, unit))
    if reference is not None and math.isfinite(reference):
        drawing.add(
            Line(x(reference), 26, x(reference), floor, SOFT, 1.4, "5 3"),
            Text(x(reference), 18, named, "middle"),
        )
    for at, p in enumerate(points):
        level = 30 + 26 * at + 15.0
        drawing.add(Text(left - 10, level + 4, p.label, "end", INK))
        if math.isfinite(p.lower) and not math.isnan(p.upper):
            drawing.add(Line(x(p.lower), level, x(p.upper), level, width=1.6))
        if math.isfinite(p.value):
            drawing.add(Dot(x(p.value), level, hollow=p.open))
        else:
            drawing.add(Text(left + 6, level + 4, "not available"))
    return drawing


# -- shared --------------------------------------------------------------------------------

Scale = Callable[[float], float]


@dataclass(frozen=True)
class _Axis:
    """Marks of an axis, and how far along it a value is, from 0 to 1."""

    marks: list[float]
    part: Scale


def _from_zero(points: Sequence[Point]) -> _Axis:
    top = _top([p.value for p in points], [p.upper for p in points])
    return _Axis(steps_to(top), lambda value: min(value, top) / top)


def _doublings(points: Sequence[Point]) -> _Axis:
    known = [v for p in points for v in (p.value, p.lower, p.upper) if math.isfinite(v)]
    reach = min(max([*(abs(math.log2(v)) for v in known if v > 0), 1.0]), 4.0)
    marks = [2.0**n for n in range(-math.floor(reach), math.floor(reach) + 1)]

    def part(value: float) -> float:
        at = max(min(math.log2(value), reach), -reach) if value > 0 else -reach
        return (at + reach) / (2 * reach)

    return _Axis(marks, part)


def _top(values: Iterable[float], limits: Iterable[float]) -> float:
    """End of an axis: one period with few line-days may not squeeze the rest."""
    known = [v for v in values if math.isfinite(v)]
    wide = sorted(v for v in limits if math.isfinite(v))
    middle = wide[len(wide) // 2] if wide else max(known, default=0.0)
    fair = [v for v in (*known, *wide) if v <= FAR * middle]
    return 1.12 * max(fair, default=0.0) or 1.0


def _field(
    height: int, count: int, top: float, unit: str, *, floor: float = 0.0, percent: bool = False
) -> tuple[Drawing, Scale, Scale]:
    """A drawing with its vertical axis, and where a period and a value lie on it."""
    drawing = Drawing(height)
    low, high = height - BOTTOM, TOP
    each = (WIDTH - LEFT - RIGHT) / max(count, 1)

    def x(at: float) -> float:
        return LEFT + (at + 0.5) * each

    def y(value: float) -> float:
        return low - (max(value, floor) - floor) / (top - floor) * (low - high)

    for mark in steps_to(top):
        if mark >= floor:
            words = f"{100 * mark:.0f}" if percent else f"{mark:g}"
            drawing.add(
                Line(LEFT, y(mark), WIDTH - RIGHT, y(mark), RULE),
                Text(LEFT - 6, y(mark) + 4, words, "end"),
            )
    drawing.add(Text(0, 14, unit))
    return drawing, x, y


def _course(drawing: Drawing, points: Sequence[Point], x: Scale, y: Scale, top: float) -> None:
    """Dots joined by a line; a gap where there is no value, the number where it is far off."""
    for at in range(1, len(points)):
        before, after = points[at - 1].value, points[at].value
        if math.isfinite(before) and math.isfinite(after):
            drawing.add(Line(x(at - 1), y(min(before, top)), x(at), y(min(after, top))))
    for at, p in enumerate(points):
        if math.isfinite(p.value):
            drawing.add(Dot(x(at), y(min(p.value, top)), hollow=p.open, diamond=p.marked))
            if p.value > top:
                drawing.add(Text(x(at), y(top) + 18, f"▲ {p.value:.1f}", "middle", INK))


def _names(drawing: Drawing, labels: Sequence[str], x: Scale) -> None:
    """Labels below the axis in two lines, as many as fit; the last always."""
    step = max(1, math.ceil(len(labels) / MOST_LABELS))
    for at, label in enumerate(labels):
        if (len(labels) - 1 - at) % step == 0:
            head, _, rest = label.partition(" ")
            drawing.add(
                Text(x(at), drawing.height - BOTTOM + 16, head, "middle"),
                Text(x(at), drawing.height - BOTTOM + 30, rest, "middle"),
            )


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
