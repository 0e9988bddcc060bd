"""How did the rate of each site go, all on one scale? Small figures without a script."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

WIDTH, HEIGHT = 288, 116
LEFT, RIGHT, TOP, BOTTOM = 28, 8, 10, 30
"""Pixels around the field of the points."""


@dataclass(frozen=True)
class Tick:
    """A month on the axis: the first letter of its name, and its year below January."""

    x: float
    letter: str
    year: str


@dataclass(frozen=True)
class Point:
    """A month's rate."""

    x: float
    y: float
    provisional: bool
    title: str


@dataclass(frozen=True)
class SmallFigure:
    """Where everything of one small figure is, in pixels from the upper left."""

    points: tuple[Point, ...]
    lines: tuple[str, ...]
    """Points of polylines, broken where a month has no rate."""
    ticks: tuple[Tick, ...]
    baseline_y: float | None
    since_x: float | None
    scale: tuple[tuple[float, str], ...]
    """Height and text of the values at the axis."""
    width: int = WIDTH
    height: int = HEIGHT
    left: int = LEFT
    right: int = WIDTH - RIGHT
    bottom: int = HEIGHT - BOTTOM
    top: int = TOP


def small_multiples(
    panels: Sequence[tuple[pd.DataFrame, float, int | None]],
) -> tuple[SmallFigure, ...]:
    """Lay out one small figure a panel, all on one scale.

    Parameters
    ----------
    panels : sequence of (DataFrame, float, int or None)
        Months (``label`` such as ``Mar 2031``, ``rate_per_1000``, ``provisional``), the rate of the
        baseline (nan: none), and the position of the month since which it is higher.
    """
    rates = [r for months, _, _ in panels for r in months["rate_per_1000"] if not math.isnan(r)]
    top = _round_up(max(rates, default=1.0))
    return tuple(_figure(months, base, since, top) for months, base, since in panels)


def _figure(months: pd.DataFrame, base: float, since: int | None, top: float) -> SmallFigure:
    n = len(months)
    step = (WIDTH - LEFT - RIGHT) / max(n, 1)

    def x(at: float) -> float:
        return round(LEFT + step * (at + 0.5), 1)

    def y(rate: float) -> float:
        return round(HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * min(rate, top) / top, 1)

    points: list[Point] = []
    lines: list[str] = []
    run: list[str] = []
    for at, row in enumerate(months.to_dict("records")):
        rate = row["rate_per_1000"]
        if math.isnan(rate):
            lines, run = [*lines, " ".join(run)], []
            continue
        late = ", provisional" if row["provisional"] else ""
        title = f"{row['label']}: {rate:.2f} per 1000{late}"
        points.append(Point(x(at), y(rate), bool(row["provisional"]), title))
        run.append(f"{x(at)},{y(rate)}")
    lines.append(" ".join(run))
    ticks = tuple(
        Tick(x(at), label[0], label[4:] if at == 0 or label.startswith("Jan") else "")
        for at, label in enumerate(months["label"])
    )
    if len(ticks) > 1 and any(t.year for t in ticks[1:5]):  # years would overlap
        ticks = (Tick(ticks[0].x, ticks[0].letter, ""), *ticks[1:])
    return SmallFigure(
        points=tuple(points),
        lines=tuple(line for line in lines if line),
        ticks=ticks,
        baseline_y=None if math.isnan(base) else y(base),
        since_x=None if since is None else x(since - 0.5),
        scale=((y(0), "0"), (y(top), f"{top:g}")),
    )


def _round_up(value: float) -> float:
    """The next of 1, 2, 5, 10, 20 …"""
    if value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(power * f for f in (1, 2, 3, 4, 5, 6, 8, 10) if value <= power * f * (1 + 1e-9))
