"""Counts, comparisons, charts, late reports and small cells, slowly and in plain Python."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction


def poisson(count: int, mean: float) -> float:
    return math.exp(-mean + count * math.log(mean) - math.lgamma(count + 1))


def poisson_at_least(count: int, mean: float) -> float:
    return 1 - math.fsum(poisson(k, mean) for k in range(count))


def poisson_at_most(count: int, mean: float) -> float:
    return math.fsum(poisson(k, mean) for k in range(count + 1))


def crossing(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function crosses 0, by halving."""
    for _ in range(200):
        middle = (low + high) / 2
        if function(middle) < 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def count_limits(count: int, tail: float, half: float) -> tuple[float, float]:
    """Limits of a mean; `half` is 0 for exact tails, 1/2 for mid-P: that much is taken off."""
    most = count * 3 + 40.0
    lower = 0.0
    if count > 0:
        lower = crossing(
            lambda m: poisson_at_least(count, m) - half * poisson(count, m) - tail, 1e-9, most
        )
    upper = crossing(
        lambda m: tail - poisson_at_most(count, m) + half * poisson(count, m), 1e-9, most
    )
    return lower, upper


def binomial(hits: int, tries: int, chance: Fraction) -> Fraction:
    return math.comb(tries, hits) * chance**hits * (1 - chance) ** (tries - hits)


def ratio_p(
    first: int, first_days: int, second: int, second_days: int, ratio: Fraction, half: Fraction
) -> float:
    """Twice the smaller tail of the first count given both; `half` of its own chance taken off."""
    tries = first + second
    chance = ratio * first_days / (ratio * first_days + second_days)
    own = half * binomial(first, tries, chance)
    at_most = sum((binomial(k, tries, chance) for k in range(first + 1)), Fraction(0)) - own
    at_least = sum((binomial(k, tries, chance) for k in range(first, tries + 1)), Fraction(0)) - own
    return float(min(Fraction(1), 2 * min(at_most, at_least)))


def runs(sides: Sequence[bool | None], length: int) -> list[bool]:
    """Whether each point ends a run; None is passed over."""
    found, run = [], 0
    for side in sides:
        if side is None:
            found.append(False)
            continue
        run = run + 1 if side else 0
        found.append(run >= length)
    return found


def two_of_three(beyond: Sequence[bool | None]) -> list[bool]:
    """Whether a point lies beyond and one of the two counted before it as well."""
    found: list[bool] = []
    seen: list[bool] = []
    for point in beyond:
        if point is None:
            found.append(False)
            continue
        seen.append(point)
        found.append(point and sum(seen[-3:]) >= 2)
    return found


def share_within(reports: Sequence[Sequence[int]], last: Sequence[int]) -> list[Fraction | None]:
    """Share reported within each delay; `last` is the last observable delay of each origin."""
    delays = len(reports[0])
    shares: list[Fraction | None] = [Fraction(1)]
    for j in range(delays - 1, 0, -1):
        rows = [row for row, end in zip(reports, last, strict=True) if end >= j]
        at_risk, exactly = sum(sum(r[: j + 1]) for r in rows), sum(r[j] for r in rows)
        before = shares[0]
        if before is not None and before == 0:
            shares.insert(0, Fraction(0))
        elif before is None or at_risk == 0:
            shares.insert(0, None)
        else:
            shares.insert(0, before * Fraction(at_risk - exactly, at_risk))
    return shares


def tables_like(
    counts: Sequence[Sequence[int]],
    cells: Sequence[Sequence[bool]],
    rows: Sequence[bool],
    columns: Sequence[bool],
    total: bool,
    most: int,
) -> Iterator[list[list[int]]]:
    """Return every table of counts that agrees with what is shown; hidden ones are 1 to `most`."""
    places = [(i, j) for i, row in enumerate(cells) for j, hidden in enumerate(row) if hidden]
    for values in itertools.product(range(1, most + 1), repeat=len(places)):
        table = [list(row) for row in counts]
        for (i, j), value in zip(places, values, strict=True):
            table[i][j] = value
        if (
            all(h or sum(t) == sum(c) for h, t, c in zip(rows, table, counts, strict=True))
            and all(
                h or sum(t) == sum(c)
                for h, t, c in zip(
                    columns, zip(*table, strict=True), zip(*counts, strict=True), strict=True
                )
            )
            and (total or sum(map(sum, table)) == sum(map(sum, counts)))
        ):
            yield table
