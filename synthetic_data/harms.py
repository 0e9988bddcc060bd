"""Which harm did the clinic confirm, which alarms did families raise, and who was admitted for it?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from analysis.vocabulary import OutcomeKind, RemovalReason, Therapy
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
from synthetic_data.entries import CHECK, entries, finding, finding_odds
from synthetic_data.scene import Scene

_REMOVED_FOR = {
    RemovalReason.INFECTION: OutcomeKind.BLOODSTREAM_INFECTION,
    RemovalReason.OCCLUSION: OutcomeKind.OCCLUSION,
    RemovalReason.DISLODGEMENT: OutcomeKind.DISLODGEMENT,
    RemovalReason.DAMAGE: OutcomeKind.BREAKAGE,
    RemovalReason.THROMBOSIS: OutcomeKind.THROMBOSIS,
}
_ALARM_OF = {
    OutcomeKind.BLOODSTREAM_INFECTION: ("fever", 0.75),
    OutcomeKind.DISLODGEMENT: ("line_pulled_out", 0.8),
    OutcomeKind.BREAKAGE: ("line_cracked", 0.8),
    OutcomeKind.THROMBOSIS: ("arm_or_neck_swelling", 0.8),
}
_BLOOD = OutcomeKind.BLOODSTREAM_INFECTION
_INFECTION = code(_BLOOD)


@dataclass(frozen=True)
class Harms:
    """Confirmed outcomes, entries with a red flag, and the admissions that followed."""

    outcomes: pd.DataFrame
    alarms: pd.DataFrame
    admissions: pd.DataFrame


def harms(rng: np.random.Generator, scene: Scene, lines: pd.DataFrame) -> Harms:
    """Draw harm over each line's days at home; a line lost to harm has that harm on record."""
    found = _outcomes(rng, scene, lines)
    line, onset, kind = (column(found, c) for c in ("line", "onset", "kind"))
    child, end = column(lines, "child"), column(lines, "end")
    raised = []
    for word, (text, share) in _ALARM_OF.items():
        rows = np.flatnonzero((kind == code(word)) & (rng.random(kind.size) < share))
        raised.append((line[rows], onset[rows], np.full(rows.size, finding(text))))
    home, last = column(lines, "home"), np.minimum(end, scene.until)
    owner, day = happenings(rng, habits.ALARM_PER_DAY, home, last)
    what = pick(rng, day.size, finding_odds(habits.ALARM))
    admitted = rng.random(day.size) < 0.4
    raised.append((owner, day, what))
    stays = [
        _admissions(rng, child[line[kind == _INFECTION]], onset[kind == _INFECTION], (5, 12)),
        _admissions(rng, child[owner[admitted]], day[admitted], (1, 3)),
    ]
    alarm_line, alarm_day, alarm = (np.concatenate(part) for part in zip(*raised, strict=True))
    ensure_each(rng, alarm, finding_odds(habits.ALARM), np.ones(alarm.size, dtype=bool))
    alarms = entries(alarm_line, alarm_day, kind=CHECK, findings=alarm, sure=2,
                     minute=between(rng, 6 * 60, 20 * 60, alarm.size))  # fmt: skip
    inside = (alarm_day < last[alarm_line]) & (alarm_day >= home[alarm_line])
    return Harms(found, alarms[inside], pd.concat(stays, ignore_index=True))


def _outcomes(rng: np.random.Generator, scene: Scene, lines: pd.DataFrame) -> pd.DataFrame:
    home, end = column(lines, "home"), column(lines, "end")
    last = np.minimum(end, scene.until)
    parts: list[tuple[Ints, Ints, Ints]] = []
    infection = by_code(Therapy, habits.INFECTION_PER_DAY)[column(lines, "therapy")]
    rates: dict[StrEnum, Floats | float] = {_BLOOD: infection, **habits.OUTCOME_PER_DAY}
    for kind, rate in rates.items():
        line, day = happenings(rng, rate, home, last)
        parts.append((line, day, np.full(line.size, code(kind))))
    for reason, kind in _REMOVED_FOR.items():
        line = np.flatnonzero(column(lines, "reason") == code(reason))
        day = np.maximum(end[line] - between(rng, 0, 4, line.size), home[line])
        parts.append((line, day, np.full(line.size, code(kind))))
    line, onset, what = (np.concatenate(part) for part in zip(*parts, strict=True))
    again = np.flatnonzero(
        (what == _INFECTION) & (rng.random(line.size) < habits.INFECTION_REPORTED_AGAIN)
    )
    later = onset[again] + between(rng, 3, 10, again.size)
    line = np.concatenate([line, line[again]])
    onset = np.concatenate([onset, later])
    what = np.concatenate([what, what[again]])
    ensure_each(rng, what, OutcomeKind, np.ones(what.size, dtype=bool))
    n = line.size
    confirmed = np.where(rng.random(n) < 0.04, BLANK, onset + between(rng, 1, 4, n))
    frame = pd.DataFrame({"line": line, "kind": what, "onset": onset, "confirmed": confirmed})
    frame = frame[(onset < scene.until) & (confirmed < scene.until)]
    frame = frame.drop_duplicates(["line", "kind", "onset"])
    return frame.sort_values(["onset", "line", "kind"], ignore_index=True)


def _admissions(
    rng: np.random.Generator, child: Ints, day: Ints, nights: tuple[int, int]
) -> pd.DataFrame:
    start = day + (rng.random(day.size) < 0.35)
    return pd.DataFrame(
        {"child": child, "start": start, "end": start + between(rng, *nights, day.size)}
    )
