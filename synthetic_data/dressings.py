"""When did each family change which dressing, and how was the old one found?"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.days import date_at
from analysis.policy import shipped_policy
from analysis.vocabulary import (
    ChangeReason,
    DressingCondition,
    DressingType,
    EntryKind,
    LineType,
    Task,
    Therapy,
)
from synthetic_data import habits
from synthetic_data.draws import (
    BLANK,
    Bools,
    Floats,
    Ints,
    between,
    code,
    column,
    pick,
    ragged,
)
from synthetic_data.entries import CHANGE, CHECK, NOTHING, entries, stacked
from synthetic_data.scene import Scene
from synthetic_data.spans import pack
from synthetic_data.stays import Stays

_PORT = code(LineType.IMPLANTED_PORT)
_GAUZE, _NO_DRESSING = code(DressingType.GAUZE), code(DressingType.NONE)
_FOUND_AS = {
    ChangeReason.LOOSE: DressingCondition.LOOSE,
    ChangeReason.DAMP: DressingCondition.DAMP,
    ChangeReason.SOILED: DressingCondition.SOILED,
}
_CONDITION = np.full(len(ChangeReason), BLANK, dtype=np.int64)
for _reason, _condition in _FOUND_AS.items():
    _CONDITION[code(_reason)] = code(_condition)


@dataclass
class _Wear:
    """Spans in which a dressing is worn and changed again and again, and the position of each."""

    line: Ints
    last: Ints
    """Day of the last change; before the span where it is not known."""
    floor: Ints
    """First day on which the family can change it (after a stay: the day back)."""
    end: Ints
    worn: Ints
    """Dressing type in place now."""
    stay: Ints
    """Position of the next merged stay of the child."""
    lost: Bools
    """Nobody wrote down when it was last changed."""
    alive: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


def port_accesses(
    rng: np.random.Generator, scene: Scene, lines: pd.DataFrame, stays: Stays
) -> pd.DataFrame:
    """One row a time that an implanted port is accessed: line, start, end.

    For parenteral nutrition nearly always, a week or two at a time; else for a few days
    each two to four weeks. Accesses that meet a stay away are left out.
    """
    which = np.flatnonzero(column(lines, "type") == _PORT)
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    fed = column(lines, "therapy") == code(Therapy.PARENTERAL_NUTRITION)
    owner, _ = ragged(np.maximum((end - home)[which] // 4, 0))
    line = which[owner]
    short = between(rng, 2, 5, line.size)
    long = between(rng, 7, 16, line.size)
    length = np.where(fed[line] | (rng.random(line.size) < 0.25), long, short)
    gap = np.where(fed[line], 1, between(rng, 9, 24, line.size))
    total = np.cumsum(length + gap)
    first = np.searchsorted(owner, np.arange(which.size))
    before = np.append(0, total)[first][owner]
    start = home[line] + total - before - length - gap + 1
    stop = start + length
    inside = start < end[line]
    child = column(lines, "child")[line]
    met = stays.away.next_ending_after(child, start - 1)
    there = np.minimum(met, max(stays.away.owner.size - 1, 0))
    if stays.away.owner.size:
        same = (met < stays.away.owner.size) & (stays.away.owner[there] == child)
        inside &= ~(same & (stays.away.start[there] <= stop))
    return pd.DataFrame({"line": line[inside], "start": start[inside], "end": stop[inside]})


def changes(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    lines: pd.DataFrame,
    stays: Stays,
    accesses: pd.DataFrame,
) -> pd.DataFrame:
    """All entries about dressings and needles: changes, reports between them, port accesses.

    Change by change, all lines at once: from the last change the day of the next is drawn,
    a stay on the way is lived through first, until no line has a change left to make.
    """
    wear = _worn(scene, lines, stays, accesses)
    days = _interval_table(scene)
    made: list[pd.DataFrame] = []
    while wear.alive.size:
        made += _one_change_each(rng, homes, lines, stays, wear, days)
    changed = stacked(made) if made else entries(wear.line[:0], wear.line[:0])
    others = _at_ports(rng, scene, lines, accesses, changed)
    return stacked([changed, *others, _left_open(rng, scene, lines)])


def _interval_table(scene: Scene) -> Ints:
    """Policy interval in days by dressing type; a dressing that is never due gets a long one."""
    edition = shipped_policy().on(date_at(scene.until))
    found = [edition.interval_days(Task.DRESSING, d, None) for d in DressingType]
    return np.array([d if d is not None else 10_000 for d in found], dtype=np.int64)


def _worn(scene: Scene, lines: pd.DataFrame, stays: Stays, accesses: pd.DataFrame) -> _Wear:
    dressing = column(lines, "dressing")
    plain = np.flatnonzero((column(lines, "type") != _PORT) & (dressing != _NO_DRESSING))
    line = np.concatenate([plain, column(accesses, "line")])
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    floor = np.concatenate([home[plain], column(accesses, "start")])
    stop = np.minimum(np.concatenate([end[plain], column(accesses, "end")]), end[line])
    dressed = column(lines, "dressed_on")[plain]
    last = np.concatenate([np.where(dressed == BLANK, home[plain], dressed), floor[plain.size :]])
    lost = np.zeros(line.size, dtype=bool)
    lost[: plain.size] = dressed == BLANK
    child = column(lines, "child")[line]
    return _Wear(
        line=line,
        last=last,
        floor=floor,
        end=stop,
        worn=dressing[line],
        stay=stays.away.next_ending_after(child, floor),
        lost=lost,
        alive=np.flatnonzero(floor < stop),
    )


def _one_change_each(
    rng: np.random.Generator,
    homes: pd.DataFrame,
    lines: pd.DataFrame,
    stays: Stays,
    wear: _Wear,
    days: Ints,
) -> list[pd.DataFrame]:
    """Move every span on by one change, or through one stay; the entries that this makes."""
    at = wear.alive
    line = wear.line[at]
    family = column(lines, "family")[line]
    order = column(lines, "order")[line]
    n = np.where(order != BLANK, order, days[wear.worn[at]])
    later = wear.last[at] >= column(homes, "later_from")[family]
    share = np.where(later, homes["fails_later"].to_numpy()[family],
                     homes["fails"].to_numpy()[family])  # fmt: skip
    early = homes["lifts_early"].to_numpy()[family] & ~later
    fails = (rng.random(at.size) < share) & ~wear.lost[at]
    found_on = wear.last[at] + _fail_offset(rng, n, early)
    day = wear.last[at] + n + _delay(rng, homes["late"].to_numpy()[family], n)
    day = np.where(wear.lost[at], wear.floor[at] + between(rng, 0, 2, at.size), day)
    fails &= (found_on >= wear.floor[at]) & (found_on < day)
    next_day = fails & (rng.random(at.size) < habits.CHANGED_NEXT_DAY)
    day = np.where(fails, found_on + next_day, day)
    day = np.maximum(day, wear.floor[at])
    hit = _stay_on_the_way(lines, stays, wear, day)
    _live_through(rng, stays, wear, at[hit])
    reported = fails & ~hit & (found_on < wear.end[at])
    made = ~hit & (day < wear.end[at])
    reason = _reasons(rng, fails)
    put_on = _put_on(rng, column(lines, "dressing")[line], wear.worn[at], order)
    out = _written(rng, line, day, found_on, reason, put_on, made, reported, next_day)
    going = at[made]
    wear.last[going] = day[made]
    wear.floor[going] = day[made] + 1
    wear.worn[going] = put_on[made]
    wear.lost[going] = False
    alive = hit | made
    wear.alive = at[alive & (wear.floor[at] < wear.end[at])]
    return out


def _fail_offset(rng: np.random.Generator, n: Ints, early: Bools) -> Ints:
    sevenths = 1 + pick(rng, n.size, dict(enumerate(habits.FAIL_DAY)))
    soon = 1 + pick(rng, n.size, dict(enumerate(habits.EARLY_FAIL_DAY)))
    return np.maximum(-(-np.where(early, soon, sevenths) * n // 7), 1)


def _delay(rng: np.random.Generator, late: Floats, n: Ints) -> Ints:
    """Days after (or before) the due day on which a family gets to it."""
    u = rng.random(n.size)
    days_late = np.minimum(rng.geometric(0.6, n.size), 5)
    ahead = (u > 1 - habits.EARLY_BY_A_DAY) & (n > 3)
    return np.where(u < late, np.where(n > 3, days_late, 1), np.where(ahead, -1, 0))


def _stay_on_the_way(lines: pd.DataFrame, stays: Stays, wear: _Wear, day: Ints) -> Bools:
    at = wear.alive
    if not stays.away.owner.size:
        return np.zeros(at.size, dtype=bool)
    stay = wear.stay[at]
    there = np.minimum(stay, stays.away.owner.size - 1)
    child = column(lines, "child")[wear.line[at]]
    mine = (stay < stays.away.owner.size) & (stays.away.owner[there] == child)
    return mine & (stays.away.start[there] <= np.minimum(day, wear.end[at]))


def _live_through(rng: np.random.Generator, stays: Stays, wear: _Wear, at: Ints) -> None:
    stay = wear.stay[at]
    dressed = stays.dressed[stay]
    known = dressed != BLANK
    wear.last[at] = np.where(known, np.maximum(dressed, wear.last[at]), wear.last[at])
    wear.lost[at] = ~known & ((rng.random(at.size) < 0.8) | wear.lost[at])
    wear.floor[at] = np.maximum(stays.away.end[stay], wear.floor[at])
    wear.stay[at] = stay + 1


def _reasons(rng: np.random.Generator, fails: Bools) -> Ints:
    reason = np.where(rng.random(fails.size) < 0.015, code(ChangeReason.OTHER),
                      code(ChangeReason.SCHEDULED))  # fmt: skip
    return np.where(fails, pick(rng, fails.size, habits.FAIL_REASON), reason)


def _put_on(rng: np.random.Generator, base: Ints, worn: Ints, order: Ints) -> Ints:
    """Now and then gauze for a change or two, then the usual dressing again."""
    draw = rng.random(base.size)
    to_gauze = (worn == base) & (base != _GAUZE) & (order == BLANK) & (draw < habits.TO_GAUZE)
    stays_gauze = (worn == _GAUZE) & (draw < 0.4)
    return np.where(to_gauze | stays_gauze, _GAUZE, base)


def _written(
    rng: np.random.Generator,
    line: Ints,
    day: Ints,
    found_on: Ints,
    reason: Ints,
    put_on: Ints,
    made: Bools,
    reported: Bools,
    next_day: Bools,
) -> list[pd.DataFrame]:
    n = int(made.sum())
    minute = between(rng, 17 * 60, 20 * 60 + 30, n)
    condition = _CONDITION[reason[made]]
    intact = (condition == BLANK) & (rng.random(n) < 0.85)
    change = entries(
        line[made],
        day[made],
        kind=CHANGE,
        reason=np.where(rng.random(n) < 0.97, reason[made], BLANK),
        condition=np.where(intact, code(DressingCondition.INTACT), condition),
        put_on=np.where((rng.random(n) < 0.9) | (put_on[made] == _GAUZE), put_on[made], BLANK),
        findings=np.where(rng.random(n) < 0.9, NOTHING, BLANK),
        minute=minute,
    )
    own_entry = reported & (next_day | (rng.random(line.size) < habits.REPORTED_FIRST) | ~made)
    m = int(own_entry.sum())
    report = entries(
        line[own_entry],
        found_on[own_entry],
        kind=CHECK,
        condition=_CONDITION[reason[own_entry]],
        findings=np.where(rng.random(m) < 0.5, NOTHING, BLANK),
        minute=between(rng, 7 * 60, 16 * 60, m),
    )
    return [change, report]


def _left_open(rng: np.random.Generator, scene: Scene, lines: pd.DataFrame) -> pd.DataFrame:
    """Where the site is to be left open: the first dressing comes off some days after coming home."""
    which = np.flatnonzero(column(lines, "dressing") == _NO_DRESSING)
    day = column(lines, "home")[which] + between(rng, 2, 9, which.size)
    soon = day < np.minimum(column(lines, "end"), scene.until)[which]
    n = int(soon.sum())
    return entries(which[soon], day[soon], kind=CHANGE, reason=code(ChangeReason.OTHER), sure=1,
                   put_on=_NO_DRESSING, findings=NOTHING,
                   minute=between(rng, 17 * 60, 20 * 60, n))  # fmt: skip


def _at_ports(
    rng: np.random.Generator,
    scene: Scene,
    lines: pd.DataFrame,
    accesses: pd.DataFrame,
    changed: pd.DataFrame,
) -> list[pd.DataFrame]:
    """Accesses, de-accesses, and the needle change that goes with each change of dressing."""
    line, start, end = (column(accesses, c) for c in ("line", "start", "end"))
    n = line.size
    stop = np.minimum(column(lines, "end"), scene.until)[line]
    opened = entries(line, start, kind=code(EntryKind.PORT_ACCESSED), sure=1,
                     minute=between(rng, 8 * 60, 10 * 60, n))  # fmt: skip
    done = end < stop
    closed = entries(line[done], end[done], kind=code(EntryKind.PORT_DEACCESSED), sure=1,
                     minute=between(rng, 18 * 60, 20 * 60, int(done.sum())))  # fmt: skip
    at_port = column(lines, "type")[column(changed, "line")] == _PORT
    kept = changed[at_port & (column(changed, "kind") == CHANGE)]
    key = np.unique(pack(column(kept, "line"), column(kept, "day")))
    needle = entries(key >> 20, key & ((1 << 20) - 1), kind=code(EntryKind.NEEDLE_CHANGE),
                     minute=between(rng, 20 * 60, 21 * 60, key.size))  # fmt: skip
    return [opened, closed, needle]
