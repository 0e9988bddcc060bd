"""Where does an axis end, and where are labels put, so that nothing is squeezed or overlaps?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

import numpy as np

MARGIN = 1.12
"""An axis ends so much beyond what it has to show."""
FAR = 3.0
"""A rate or limit so many times beyond the middle of the limits is off the scale."""


def top_of_axis(rates: Iterable[float], limits: Iterable[float]) -> float:
    """End of an axis of rates: one group or month with few line-days may not squeeze the rest.

    Examples
    --------
    >>> round(top_of_axis([1.0, 2.0], [3.0, 3.0, 40.0]), 2)
    3.36
    >>> top_of_axis([], [])
    1.0
    """
    known = [v for v in rates if math.isfinite(v)]
    wide = [v for v in limits if math.isfinite(v)]
    middle = float(np.median(wide)) if wide else max(known, default=0.0)
    fair = [v for v in (*known, *wide) if v <= FAR * middle]
    return MARGIN * max(fair, default=0.0) or 1.0


def spread(places: list[float], gap: float, low: float, high: float) -> list[float]:
    """Move labels apart to at least `gap`, in their order and as little as that takes.

    Examples
    --------
    >>> spread([0.50, 0.51], 0.1, 0.0, 1.0)
    [0.5, 0.6]
    >>> spread([0.98, 0.99], 0.1, 0.0, 1.0)
    [0.9, 1.0]
    """
    order = sorted(range(len(places)), key=lambda at: places[at])
    moved = [max(low, min(high, p)) for p in places]
    for before, after in pairwise(order):
        moved[after] = max(moved[after], moved[before] + gap)
    ceiling = high
    for at in reversed(order):
        moved[at] = round(min(moved[at], ceiling), 9)
        ceiling = moved[at] - gap
    return moved
