"""When did the skin at an exit site suffer, and what did the family write down about it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.vocabulary import ChangeReason, DressingCondition, DressingType, LineType
from synthetic_data import habits
from synthetic_data.draws import (
    BLANK,
    Floats,
    Ints,
    between,
    code,
    column,
    ensure_each,
    happenings,
    pick,
    ragged,
)
from synthetic_data.entries import (
    CHANGE,
    CHECK,
    NOTHING,
    entries,
    finding,
    finding_odds,
    stacked,
)
from synthetic_data.scene import Scene
from synthetic_data.spans import Spans, last_within, pack

_NONE, _PORT = code(DressingType.NONE), code(LineType.IMPLANTED_PORT)


@dataclass(frozen=True)
class SkinRise:
    """A team whose skin rate is `times` as high from a day on."""

    team: int
    from_day: int
    times: float = 2.0


def with_skin_findings(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    rise: SkinRise | None,
) -> pd.DataFrame:
    """Add skin events to the entries: looks of their own, and what changes in them found.

    Most events show when a dressing comes off; families then look daily or nearly so until
    nothing is seen any more.
    """
    line, onset = _onsets(rng, scene, homes, lines, rows, rise)
    end = np.minimum(column(lines, "end"), scene.until)[line]
    seen_for = np.minimum(rng.geometric(0.4, line.size), 9)
    what = pick(rng, line.size, finding_odds(habits.SKIN_FINDING))
    ensure_each(rng, what, finding_odds(habits.SKIN_FINDING), np.ones(what.size, dtype=bool))
    spans = Spans.merged(line, onset, np.minimum(onset + seen_for, end))
    found = np.zeros(spans.owner.size, dtype=np.int64)
    found[spans.holding(line, onset)] = what
    inside = spans.holding(column(rows, "line"), column(rows, "day"))
    looks = np.isin(column(rows, "kind"), (CHANGE, CHECK)) & (column(rows, "sure") == 0)
    logged = looks & (inside != BLANK)
    found_inside = np.append(found, BLANK)[inside]
    findings = np.where(logged, found_inside, column(rows, "findings"))
    return stacked([rows.assign(findings=findings), _looks(rng, scene, lines, spans, found)])


def _onsets(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    rise: SkinRise | None,
) -> tuple[Ints, Ints]:
    family = column(lines, "family")
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    rate = homes["skin"].to_numpy()[family]
    line, day = happenings(rng, rate, home, end)
    if rise is not None:
        own = np.flatnonzero(column(homes, "team")[family] == rise.team)
        parts = [(line[~np.isin(line, own)], day[~np.isin(line, own)])]
        for times, start, stop in (
            (1.0, home, np.minimum(end, rise.from_day)),
            (rise.times, np.maximum(home, rise.from_day), end),
        ):
            parts.append(_as_expected(rng, own, rate[own] * times, start[own], stop[own]))
        line, day = (np.concatenate(part) for part in zip(*parts, strict=True))
    changed = rows[column(rows, "kind") == CHANGE]
    keys = np.sort(pack(column(changed, "line"), column(changed, "day")))
    shown = last_within(keys, line, np.maximum(day - 6, home[line]), day)
    with_change = (shown != BLANK) & (rng.random(line.size) < 0.6)
    if rise is not None:
        with_change &= (day < rise.from_day) | (shown >= rise.from_day)
    day = np.where(with_change, shown, day)
    order = np.lexsort((day, line))
    line, day = line[order], day[order]
    apart = np.ones(line.size, dtype=bool)
    apart[1:] = (line[1:] != line[:-1]) | (day[1:] - day[:-1] > 9)
    return line[apart], day[apart]


def _as_expected(
    rng: np.random.Generator, line: Ints, rate: Floats, start: Ints, end: Ints
) -> tuple[Ints, Ints]:
    """Exactly as many onsets as are expected, so that chance does not hide the rise."""
    expected = np.cumsum(rate * np.maximum(end - start, 0))
    total = expected[-1] if expected.size else 0.0
    at = np.sort(rng.random(round(total)) * total)
    which = np.searchsorted(expected, at, side="right")
    length = (end - start)[which]
    return line[which], start[which] + np.floor(rng.random(at.size) * length).astype(np.int64)


def _looks(
    rng: np.random.Generator, scene: Scene, lines: pd.DataFrame, spans: Spans, found: Ints
) -> pd.DataFrame:
    """Entries of the family's own about an event, the last of them a look that saw nothing."""
    length = spans.end - spans.start
    event, k = ragged(length)
    day = spans.start[event] + k
    keep = (k == 0) | (rng.random(k.size) < 0.7)
    first = entries(
        spans.owner[event][keep],
        day[keep],
        kind=CHECK,
        findings=found[event][keep],
        minute=between(rng, 7 * 60, 16 * 60, int(keep.sum())),
    )
    clear_on = spans.end + between(rng, 0, 1, length.size)
    end = np.minimum(column(lines, "end"), scene.until)[spans.owner]
    logged = (clear_on < end) & (rng.random(length.size) < 0.93)
    clear = entries(
        spans.owner[logged],
        clear_on[logged],
        kind=CHECK,
        findings=NOTHING,
        minute=between(rng, 7 * 60, 16 * 60, int(logged.sum())),
    )
    return stacked([first, clear, _changes_for_skin(rng, lines, spans, found)])


def _changes_for_skin(
    rng: np.random.Generator, lines: pd.DataFrame, spans: Spans, found: Ints
) -> pd.DataFrame:
    """Some dressings come off early because of the skin, on the day it is first seen."""
    worn = column(lines, "dressing")[spans.owner]
    n = spans.owner.size
    off = (worn != _NONE) & (column(lines, "type")[spans.owner] != _PORT)
    off &= (found != finding("pus")) & (rng.random(n) < 0.45)
    return entries(
        spans.owner[off],
        spans.start[off],
        kind=CHANGE,
        reason=code(ChangeReason.SKIN),
        condition=code(DressingCondition.INTACT),
        put_on=worn[off],
        findings=found[off],
        minute=between(rng, 17 * 60, 20 * 60, int(off.sum())),
    )
