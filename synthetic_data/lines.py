"""Which lines does each child have, one after another, and how does each end?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.vocabulary import DressingType, LineType, RemovalReason, Therapy
from synthetic_data import habits
from synthetic_data.draws import (
    BLANK,
    Bools,
    Ints,
    between,
    by_code,
    code,
    column,
    ensure_each,
    pick,
    pick_by,
)
from synthetic_data.scene import NEVER, Scene

LONGEST_CHAIN = 40
"""Lines that one child has one after another, at most."""

_DONE, _EXCHANGE = code(RemovalReason.THERAPY_COMPLETE), code(RemovalReason.PLANNED_EXCHANGE)


@dataclass
class _Turn:
    """Children (or second lines of children) whose next line comes home on a day."""

    child: Ints
    second: Bools
    placed: Ints
    home: Ints
    until: Ints
    leaves: Ints

    def only(self, rows: Bools) -> _Turn:
        return _Turn(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def lines(
    rng: np.random.Generator, scene: Scene, homes: pd.DataFrame, kids: pd.DataFrame
) -> pd.DataFrame:
    """One row a line that came home before the as-of day, in order of family, child and day.

    `end` is the day it was removed or left (NEVER: still in place at the as-of day),
    `reason` the code of the removal (BLANK: still in place, or the family left with it).
    """
    turn = _first_turn(rng, homes, kids)
    rows = []
    for _ in range(LONGEST_CHAIN):
        turn = turn.only(turn.home < np.minimum(scene.until, turn.leaves))
        if not turn.child.size:
            break
        therapy = column(kids, "therapy")[turn.child]
        frame = _one_line_each(rng, scene, turn, therapy)
        rows.append(frame)
        turn = _next_turn(rng, scene, turn, frame)
    out = pd.concat(rows, ignore_index=True)
    out["family"] = column(kids, "family")[column(out, "child")]
    out = out.sort_values(["family", "child", "placed", "second"], ignore_index=True)
    out["seq"] = out.groupby("family").cumcount() + 1
    reason = column(out, "reason")
    single = ~out["child"].duplicated(keep=False).to_numpy()
    finished = (reason == _DONE) & single
    ensure_each(rng, reason, [RemovalReason.DEATH], finished)
    unplanned = (reason != BLANK) & (reason != _DONE) & (reason != _EXCHANGE)
    unplanned &= reason != code(RemovalReason.DEATH)
    ensure_each(rng, reason, [w for w in habits.COMPLICATION if isinstance(w, RemovalReason)],
                unplanned)  # fmt: skip
    out["reason"] = reason
    delivered = column(homes, "kit_days")[column(out, "family")]
    return _with_orders(rng, out.assign(kit_days=delivered))


def _first_turn(rng: np.random.Generator, homes: pd.DataFrame, kids: pd.DataFrame) -> _Turn:
    n = len(kids)
    joined, until = column(kids, "joined"), column(kids, "until")
    has_second = np.flatnonzero((rng.random(n) < habits.SECOND_LINE) & (until - joined > 120))
    m = has_second.size
    home2 = joined[has_second] + between(rng, 10, 90, m)
    child = np.concatenate([np.arange(n), has_second])
    home = np.concatenate([joined, home2])
    lag = np.concatenate([column(kids, "lag"), between(rng, 1, 8, m)])
    end2 = np.minimum(home2 + between(rng, 30, 240, m), until[has_second])
    return _Turn(
        child=child,
        second=np.arange(n + m) >= n,
        placed=home - lag,
        home=home,
        until=np.concatenate([until, end2]),
        leaves=column(homes, "leaves")[column(kids, "family")[child]],
    )


def _one_line_each(
    rng: np.random.Generator, scene: Scene, turn: _Turn, therapy: Ints
) -> pd.DataFrame:
    n = turn.child.size
    kind = pick_by(rng, therapy, habits.LINE_TYPE)
    kind = np.where(turn.second, pick(rng, n, habits.SECOND_LINE_TYPE), kind)
    fails = turn.home + np.ceil(
        rng.exponential(by_code(LineType, habits.DAYS_TO_COMPLICATION)[kind])
    ).astype(np.int64)
    swapped = turn.home + np.ceil(
        rng.exponential(by_code(LineType, habits.DAYS_TO_EXCHANGE)[kind])
    ).astype(np.int64)
    end = np.minimum.reduce([fails, swapped, turn.until, turn.leaves])
    reason = np.where(end == swapped, _EXCHANGE, _DONE)
    reason = np.where(end == fails, pick(rng, n, habits.COMPLICATION), reason)
    reason = np.where(end == turn.leaves, BLANK, reason)
    dies = (reason == _DONE) & ~turn.second & (rng.random(n) < habits.DIES)
    reason = np.where(dies, code(RemovalReason.DEATH), reason)
    still = end >= scene.until
    return pd.DataFrame(
        {
            "child": turn.child,
            "second": turn.second,
            "type": kind,
            "therapy": therapy,
            "placed": turn.placed,
            "home": turn.home,
            "end": np.where(still, NEVER, end),
            "left": ~still & (end == turn.leaves),
            "reason": np.where(still, BLANK, reason),
        }
    )


def _next_turn(rng: np.random.Generator, scene: Scene, turn: _Turn, frame: pd.DataFrame) -> _Turn:
    """A line lost before the child is done with it is followed by another."""
    end, reason = column(frame, "end"), column(frame, "reason")
    n = end.size
    swapped = reason == _EXCHANGE
    placed = end + np.where(swapped, 0, between(rng, 2, 10, n))
    home = placed + np.where(swapped, between(rng, 0, 2, n), between(rng, 2, 8, n))
    going_on = (end < scene.until) & ~turn.second & (reason != BLANK) & (reason != _DONE)
    going_on &= (reason != code(RemovalReason.DEATH)) & (turn.until - home > 14)
    after = _Turn(turn.child, turn.second, placed, home, turn.until, turn.leaves)
    return after.only(going_on)


def _with_orders(rng: np.random.Generator, frame: pd.DataFrame) -> pd.DataFrame:
    """Add what the clinic ordered: dressing, intervals, flushes, deliveries."""
    n = len(frame)
    kind, home = column(frame, "type"), column(frame, "home")
    dressing = pick_by(rng, kind, habits.DRESSING)
    port = kind == code(LineType.IMPLANTED_PORT)
    by_calendar = (dressing != code(DressingType.NONE)) & (dressing != code(DressingType.GAUZE))
    ordered = by_calendar & ~port & (rng.random(n) < habits.CHANGE_ORDER)
    last = np.maximum(home - between(rng, 0, 4, n), column(frame, "placed"))
    dressed = (rng.random(n) < 0.95) & ~port
    flush = pick(rng, n, habits.FLUSH_ORDER)
    logs = (column(frame, "therapy") != code(Therapy.OTHER)) & ~port
    return frame.assign(
        lumens=np.where(rng.random(n) < 0.04, BLANK, pick(rng, n, {1: 62, 2: 33, 3: 5})),
        dressing=dressing,
        order=np.where(ordered, pick(rng, n, habits.CHANGE_ORDERS), BLANK),
        dressed_on=np.where(dressed, last, BLANK),
        flush=np.where(port, pick(rng, n, habits.PORT_FLUSH_ORDER), flush),
        connectors=logs & (rng.random(n) < habits.CONNECTORS_LOGGED),
    )
