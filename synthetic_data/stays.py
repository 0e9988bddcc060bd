"""When was each child away from home, and was the dressing changed there?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.vocabulary import Place, Therapy
from synthetic_data import habits
from synthetic_data.draws import (
    BLANK,
    Floats,
    Ints,
    between,
    by_code,
    code,
    column,
    ensure_each,
    happenings,
    pick,
)
from synthetic_data.scene import NEVER, Scene
from synthetic_data.spans import Spans

_HOSPITAL, _RESPITE = code(Place.HOSPITAL), code(Place.RESPITE)


@dataclass(frozen=True)
class Stays:
    """Stays as the registry has them, and merged where they touch or overlap."""

    rows: pd.DataFrame
    away: Spans
    dressed: Ints
    """Day of the last change done there, by merged stay; BLANK: not recorded."""


def stays(
    rng: np.random.Generator,
    scene: Scene,
    kids: pd.DataFrame,
    lines: pd.DataFrame,
    admissions: pd.DataFrame,
) -> Stays:
    """Planned and unplanned nights away; children between two lines are in hospital."""
    first, last = _with_line(scene, kids, lines)
    rate = by_code(Therapy, habits.HOSPITAL_PER_DAY)[column(kids, "therapy")]
    parts = [
        _at_random(rng, rate, first, last, pick_from=habits.PLACE),
        _at_random(rng, np.where(kids["respite"], habits.RESPITE_PER_DAY, 0.0), first, last),
        admissions.assign(place=_HOSPITAL),
        _between_lines(lines),
    ]
    rows = pd.concat(parts, ignore_index=True)
    moved = rows[rng.random(len(rows)) < habits.MOVED_ON]
    start = column(moved, "end") - (rng.random(len(moved)) < 0.3)
    on = pd.DataFrame(
        {
            "child": moved["child"],
            "start": np.maximum(start, column(moved, "start") + 1),
            "end": start + between(rng, 2, 4, len(moved)),
            "place": pick(rng, len(moved), {_HOSPITAL: 1, _RESPITE: 2}),
        }
    )
    rows = pd.concat([rows, on], ignore_index=True)
    child = column(rows, "child")
    start = column(rows, "start")
    rows = rows[(start > first[child]) & (start < last[child])]
    rows = rows.sort_values(["child", "start", "end"]).drop_duplicates(["child", "start"])
    place = column(rows, "place")
    ensure_each(rng, place, Place, np.ones(place.size, dtype=bool))
    return finished(rng, rows.assign(place=place).reset_index(drop=True))


def finished(rng: np.random.Generator, rows: pd.DataFrame) -> Stays:
    """Merge the stays, with the day on which the dressing was last changed there.

    Rows with `undressed` set have none on record.
    """
    child, start, end = (column(rows, c) for c in ("child", "start", "end"))
    away = Spans.merged(child, start, end)
    merged = away.holding(child, start)
    closing = np.flatnonzero(end == away.end[merged])
    row_of = np.full(away.owner.size, BLANK, dtype=np.int64)
    row_of[merged[closing]] = closing
    n = row_of.size
    day = np.maximum(end[row_of] - rng.geometric(0.55, n), start[row_of])
    untold = (rows["undressed"].to_numpy() == 1)[row_of]
    dressed = np.where((rng.random(n) < habits.DRESSED_THERE) & ~untold, day, BLANK)
    there = np.full(len(rows), BLANK, dtype=np.int64)
    there[row_of] = dressed
    return Stays(rows.assign(dressed=there), away, dressed)


def _with_line(scene: Scene, kids: pd.DataFrame, lines: pd.DataFrame) -> tuple[Ints, Ints]:
    """First and last day on which each child is followed; empty where it has no line."""
    child = column(lines, "child")
    first = np.full(len(kids), NEVER, dtype=np.int64)
    last = np.zeros(len(kids), dtype=np.int64)
    np.minimum.at(first, child, column(lines, "home"))
    np.maximum.at(last, child, np.minimum(column(lines, "end"), scene.until))
    return first, last


def _at_random(
    rng: np.random.Generator,
    rate: Floats,
    first: Ints,
    last: Ints,
    pick_from: habits.Odds | None = None,
) -> pd.DataFrame:
    child, start = happenings(rng, rate, first, last)
    n = child.size
    nights = np.where(rng.random(n) < 0.15, between(rng, 5, 12, n), 1 + rng.geometric(0.5, n))
    place = pick(rng, n, pick_from) if pick_from else np.full(n, _RESPITE)
    return pd.DataFrame({"child": child, "start": start, "end": start + nights, "place": place})


def _between_lines(lines: pd.DataFrame) -> pd.DataFrame:
    main = lines[~lines["second"].to_numpy()]
    child = column(main, "child")
    end, home = column(main, "end")[:-1], column(main, "home")[1:]
    same = (child[1:] == child[:-1]) & (home > end)
    return pd.DataFrame(
        {
            "child": child[1:][same],
            "start": end[same],
            "end": home[same],
            "place": _HOSPITAL,
            "undressed": 1,
        }
    )
