"""Which entries can be used but are odd, so that the clinic should look at them?

A few of each: a change while the child was away, a look at a line that was out already, a
connector changed again too soon, a caregiver of another family.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.vocabulary import EntryKind
from synthetic_data.draws import BLANK, Ints, code, column
from synthetic_data.entries import CHANGE, CHECK, NOTHING, entries, stacked
from synthetic_data.plants import News
from synthetic_data.scene import Scene
from synthetic_data.spans import Spans

OF_EACH = 3
_SETTLED = 30
"""Days before the as-of day in which nothing odd is put."""


def with_oddities(
    rng: np.random.Generator,
    scene: Scene,
    lines: pd.DataFrame,
    people: pd.DataFrame,
    away: Spans,
    rows: pd.DataFrame,
    spared: Ints,
) -> tuple[pd.DataFrame, list[News]]:
    """Add the odd entries, and return which: line, day, code of the doubt.

    `spared` are families in which something else is planted.
    """
    news: list[News] = []
    free = ~np.isin(column(lines, "family"), spared)
    before = scene.until - _SETTLED
    added = []
    for line, day in _while_away(rng, lines, away, free, before):
        added.append(_one(line, day, kind=CHANGE, reason=0, findings=NOTHING))
        news.append((line, day, "change_during_stay", 0))
    ended = np.flatnonzero(free & (column(lines, "end") < before))
    for line in rng.permutation(ended)[:OF_EACH].tolist():
        day = int(column(lines, "end")[line]) + 2
        added.append(_one(line, day, kind=CHECK, findings=NOTHING))
        news.append((line, day, "after_end", 0))
    line_of, day_of = column(rows, "line"), column(rows, "day")
    old = free[line_of] & (day_of < before) & (column(rows, "sure") == 0)
    connector = np.flatnonzero(old & (column(rows, "kind") == code(EntryKind.CONNECTOR_CHANGE)))
    for at in rng.permutation(connector)[:OF_EACH].tolist():
        line, day = int(line_of[at]), int(day_of[at]) + 1
        if away.holding(column(lines, "child")[[line]], np.array([day]))[0] == BLANK and (
            day < column(lines, "end")[line]
        ):
            added.append(_one(line, day, kind=code(EntryKind.CONNECTOR_CHANGE)))
            news.append((line, day, "connector_too_soon", 0))
    caregiver = column(rows, "caregiver").copy()
    checks = np.flatnonzero(old & (column(rows, "kind") == CHECK))
    for at in rng.permutation(checks)[:OF_EACH].tolist():
        family = column(lines, "family")[line_of[at]]
        others = np.flatnonzero(column(people, "family") != family)
        if others.size:
            caregiver[at] = rng.choice(others)
            news.append((int(line_of[at]), int(day_of[at]), "caregiver_of_other_family", 0))
    return stacked([rows.assign(caregiver=caregiver), *added]), news


def _while_away(
    rng: np.random.Generator, lines: pd.DataFrame, away: Spans, free: np.ndarray, before: int
) -> list[tuple[int, int]]:
    """Line and day of some nights away, with the line in place."""
    child = column(lines, "child")
    found: list[tuple[int, int]] = []
    long = np.flatnonzero((away.end - away.start >= 3) & (away.end < before))
    for stay in rng.permutation(long).tolist():
        day = int(away.start[stay]) + 1
        here = (child == away.owner[stay]) & (column(lines, "home") < day)
        here &= (column(lines, "end") > int(away.end[stay])) & free
        if here.any():
            found.append((int(np.flatnonzero(here)[0]), day))
        if len(found) == OF_EACH:
            break
    return found


def _one(line: int, day: int, **given: int) -> pd.DataFrame:
    return entries(np.array([line]), np.array([day]), minute=18 * 60, sure=1, **given)
