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
from synthetic_data.skin_risk import raised_again, risk_by_day
from synthetic_data.spans import Spans, last_within, pack

_NONE, _PORT = code(DressingType.NONE), code(LineType.IMPLANTED_PORT)


@dataclass(frozen=True)
class SkinRise:
    """A team whose skin rate is `times` as high from a day on."""

    team: int
    from_day: int
    times: float = 3.0


def with_skin_findings(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    people: pd.DataFrame,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    rise: SkinRise | None,
) -> pd.DataFrame:
    """Add skin events to the entries: looks of their own, and what changes in them found.

    Most events show when a dressing comes off; families then look daily or nearly so until
    nothing is seen any more.
    """
    line, onset = _onsets(rng, scene, homes, people, lines, rows, rise)
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
    people: pd.DataFrame,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    rise: SkinRise | None,
) -> tuple[Ints, Ints]:
    """Line and day of each event, in order; events of a line are more than nine days apart.

    Most are drawn by the risk of the day, the others some weeks after one of these. What raises
    the risk moves events to other days and families; it leaves the rate of a team as it is.
    """
    family, home = column(lines, "family"), column(lines, "home")
    risk = risk_by_day(scene, people, lines, rows)
    team = column(homes, "team")[family][risk.line]
    own = homes["skin"].to_numpy()[family][risk.line]
    expected = np.bincount(team, own, minlength=scene.teams)
    found = np.zeros(0, dtype=np.int64)
    for part in (1 - habits.AGAIN, habits.AGAIN):
        raised = risk.risk
        if found.size:
            raised = raised_again(risk, risk.line[found], risk.day[found])
        weight = own * raised
        total = np.bincount(team, weight, minlength=scene.teams)
        weight *= (part * expected / np.maximum(total, 1e-12))[team]
        found = np.concatenate([found, _begun(rng, weight, team, risk.day, rise)])
    line, day = risk.line[found], risk.day[found]
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


def _begun(
    rng: np.random.Generator, expected: Floats, team: Ints, day: Ints, rise: SkinRise | None
) -> Ints:
    """Positions of the line-days on which an event begins, as often as expected.

    Of the team whose rate rises exactly as many as expected are drawn before and after, spread
    over the days, so that chance does not hide the rise.
    """
    if rise is None:
        return _positions(expected, rng.random(rng.poisson(expected.sum())))
    here, later = team == rise.team, day >= rise.from_day
    others = rng.random(rng.poisson(expected[~here].sum()))
    parts = [_positions(np.where(here, 0.0, expected), others)]
    by_day = np.argsort(day, kind="stable")
    # The season is not to hide it either: each period has the same expected events a line-day.
    mean = expected[here].sum() / max(int(here.sum()), 1)
    for period, times in ((here & ~later, 1.0), (here & later, rise.times)):
        count = round(times * mean * int(period.sum()))
        spread = (np.arange(count) + rng.random(count)) / max(count, 1)
        parts.append(by_day[_positions(np.where(period, expected, 0.0)[by_day], spread)])
    return np.concatenate(parts)


def _positions(weight: Floats, share: Floats) -> Ints:
    """Positions at which so large a share of the whole weight is reached."""
    upto = np.cumsum(weight)
    if not upto.size or upto[-1] <= 0:
        return np.zeros(0, dtype=np.int64)
    at = np.searchsorted(upto, share * upto[-1], side="right")
    return np.minimum(at, upto.size - 1).astype(np.int64)


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
