"""What is an entry before it is written down, and which entries do families make besides changes?

An entry is one row of whole numbers: line, day, minute and codes, BLANK where nothing is
recorded. Texts and identities are given when the frames are made.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.vocabulary import (
    NOTHING_SEEN,
    DressingCondition,
    DressingType,
    EntryKind,
    LineType,
)
from synthetic_data import habits
from synthetic_data.draws import BLANK, Ints, between, code, column, pick, ragged
from synthetic_data.scene import Scene
from synthetic_data.spans import Spans, days_within, last_within, pack

COLUMNS = (
    "line",
    "day",
    "minute",
    "kind",
    "reason",
    "put_on",
    "condition",
    "findings",
    "steps",
    "kits",
    "note",
    "caregiver",
    "sure",
)
"""`sure`: 1 never lost on the way (a port's access), 2 also kept while away from home."""

STEPS = (
    "clean_surface",
    "mask",
    "hand_wash",
    "sterile_gloves",
    "scrub_time",
    "dry_time",
    "skin_barrier",
    "site_covered",
    "edges_sealed",
    "date_written",
    "hub_scrub",
)
STEP_TEXTS = (NOTHING_SEEN, *STEPS, "hand_wash;mask", "scrub_time;dry_time")
FINDING_TEXTS = (
    NOTHING_SEEN,
    *habits.SKIN_FINDING,
    *habits.WATCHED_FINDING,
    *habits.ALARM,
)

CHANGE, CHECK = code(EntryKind.DRESSING_CHANGE), code(EntryKind.SKIN_CHECK)
NOTHING = 0
"""Position of "looked, saw nothing" in the findings, of "all done" in the steps."""


def finding(text: str) -> int:
    """Position of a text of findings."""
    return FINDING_TEXTS.index(text)


def finding_odds(odds: Mapping[str, float]) -> habits.Odds:
    """Odds by text turned into odds by position."""
    return {finding(text): share for text, share in odds.items()}


def entries(line: Ints, day: Ints, **given: npt.ArrayLike) -> pd.DataFrame:
    """Rows of entries; columns not given are blank."""
    out = {name: np.full(line.size, BLANK, dtype=np.int64) for name in COLUMNS}
    out["sure"][:] = 0
    for name, values in {"line": line, "day": day, **given}.items():
        out[name] = np.broadcast_to(np.asarray(values, dtype=np.int64), line.shape)
    return pd.DataFrame(out, copy=True)


def stacked(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """All rows of several frames of entries."""
    return pd.concat(parts, ignore_index=True)


def skin_checks(
    rng: np.random.Generator, scene: Scene, homes: pd.DataFrame, lines: pd.DataFrame, away: Spans
) -> pd.DataFrame:
    """Looks at the exit site between changes; more regular where no dressing is changed.

    At most one a line and day; after a stay away many families look on the day they are back.
    """
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    rate = homes["checks"].to_numpy()[column(lines, "family")]
    owner, day = _now_and_then(rng, rate, home, end)
    seldom = (column(lines, "dressing") == code(DressingType.NONE)) | (
        column(lines, "type") == code(LineType.IMPLANTED_PORT)
    )
    often, regular = _again_and_again(rng, np.flatnonzero(seldom), home, end, (2, 6))
    child = column(lines, "child")
    back_stay = away.holding(child, home - 1)
    first = np.flatnonzero((back_stay == BLANK) & (rng.random(home.size) < 0.5))
    back_owner, back = _days_back(lines, away)
    looked = rng.random(back.size) < 0.65
    owner = np.concatenate([owner, often, first, back_owner[looked]])
    day = np.concatenate([day, regular, home[first], back[looked]])
    key = np.unique(pack(owner, day))
    owner, day = key >> 20, key & ((1 << 20) - 1)
    seen = np.where(rng.random(owner.size) < 0.96, NOTHING, BLANK)
    found = np.where(rng.random(owner.size) < 0.5, code(DressingCondition.INTACT), BLANK)
    found = np.where(column(lines, "dressing")[owner] == code(DressingType.NONE), BLANK, found)
    return entries(owner, day, kind=CHECK, findings=seen, condition=found,
                   minute=between(rng, 7 * 60, 20 * 60, owner.size))  # fmt: skip


def connector_changes(
    rng: np.random.Generator, scene: Scene, lines: pd.DataFrame, changes: pd.DataFrame, away: Spans
) -> pd.DataFrame:
    """Weekly changes of the connector, with the dressing where that falls within the week."""
    keys = np.sort(pack(column(changes, "line"), column(changes, "day")))
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    child = column(lines, "child")
    alive = np.flatnonzero(lines["connectors"].to_numpy())
    last = home[alive] - between(rng, 0, 4, alive.size)
    owners, days = [], []
    while alive.size:
        day = last_within(keys, alive, np.maximum(last + 4, home[alive]), last + 7)
        alone = (
            last + 7 + np.where(rng.random(alive.size) < 0.04, between(rng, 1, 2, alive.size), 0)
        )
        day = np.where(day == BLANK, np.maximum(alone, home[alive]), day)
        stay = away.holding(child[alive], day)
        away_now = stay != BLANK
        if away_now.any():
            back = away.end[np.maximum(stay, 0)] + between(rng, 0, 3, alive.size)
            day = np.where(away_now, back, day)
        going = day < end[alive]
        alive, last = alive[going], day[going]
        owners.append(alive)
        days.append(last)
    owner, day = np.concatenate([*owners, home[:0]]), np.concatenate([*days, home[:0]])
    minute = between(rng, 17 * 60, 20 * 60 + 30, owner.size)
    kind = code(EntryKind.CONNECTOR_CHANGE)
    steps = np.where(rng.random(owner.size) < 0.02, 1 + STEPS.index("hub_scrub"), NOTHING)
    steps = np.where(rng.random(owner.size) < 0.5, steps, BLANK)
    return entries(owner, day, kind=kind, minute=minute, steps=steps)


def flushes(rng: np.random.Generator, scene: Scene, lines: pd.DataFrame) -> pd.DataFrame:
    """Flushes as ordered; now and then a day late."""
    order = column(lines, "flush")
    which = np.flatnonzero(order != BLANK)
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    n = order[which]
    owner, k = ragged(np.maximum(-(-(end[which] - home[which]) // n), 0))
    slip = (rng.random(owner.size) < np.where(n[owner] == 1, 0.008, 0.04)).astype(np.int64)
    slip_before = np.cumsum(slip) - slip
    first = np.searchsorted(owner, np.arange(which.size))
    start = np.append(slip_before, 0)[first]
    offset = between(rng, 0, np.minimum(n, 7) - 1, which.size)
    day = home[which][owner] + offset[owner] + k * n[owner] + slip_before - start[owner]
    keep = day < end[which][owner]
    line, day = which[owner][keep], day[keep]
    minute = between(rng, 8 * 60, 20 * 60 + 30, line.size)
    return entries(line, day, kind=code(EntryKind.FLUSH), minute=minute)


def supply_counts(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    lines: pd.DataFrame,
    changes: pd.DataFrame,
    short: tuple[int, int, int],
) -> pd.DataFrame:
    """Kits in the house, counted after each delivery and now and then between.

    `short` names a team and the days ``[from, to)`` in which deliveries brought two kits only.
    """
    line, delivered, every, full = _deliveries(scene, homes, lines, short)
    delivery, again = ragged(1 + (rng.random(line.size) < 0.45).astype(np.int64))
    later = between(rng, 2, every[delivery] - 1, again.size)
    day = delivered[delivery] + np.where(again > 0, later, between(rng, 0, 1, again.size))
    line = line[delivery]
    family = column(lines, "family")
    keys = np.sort(pack(family[column(changes, "line")], column(changes, "day")))
    used = days_within(keys, family[line], delivered[delivery], day)
    keep = day < np.minimum(column(lines, "end"), scene.until)[line]
    return entries(
        line[keep],
        day[keep],
        kind=code(EntryKind.SUPPLY_COUNT),
        kits=np.maximum(full[delivery] - used, 0)[keep],
        minute=between(rng, 20 * 60 + 31, 21 * 60 + 29, int(keep.sum())),
    )


def _deliveries(
    scene: Scene, homes: pd.DataFrame, lines: pd.DataFrame, short: tuple[int, int, int]
) -> tuple[Ints, Ints, Ints, Ints]:
    """Line, day, days to the next, and kits in the house after each delivery.

    A delivery fills the house up for its period and three changes more.
    """
    home, end = column(lines, "home"), np.minimum(column(lines, "end"), scene.until)
    every, dressing = column(lines, "kit_days"), column(lines, "dressing")
    counted = (every != BLANK) & (dressing != code(DressingType.NONE))
    which = np.flatnonzero(counted & ~lines["second"].to_numpy())
    owner, k = ragged(np.maximum(-(-(end[which] - home[which]) // every[which]), 0))
    line = which[owner]
    day = home[line] + k * every[line]
    family = column(lines, "family")[line]
    at_once = np.maximum(_lines_at(lines, family, day, end), 1)
    order = column(lines, "order")
    lasts = np.where(order != BLANK, order, np.where(dressing == code(DressingType.GAUZE), 2, 7))
    full = (-(-every[line] // lasts[line]) + 3) * at_once
    cut_off = (column(homes, "team")[family] == short[0]) & (day >= short[1]) & (day < short[2])
    return line, day, every[line], np.where(cut_off, 2, full)


def notes(rng: np.random.Generator, among: pd.DataFrame) -> pd.DataFrame:
    """Entries that are only a note, on days on which something else was written down."""
    rows = np.flatnonzero(rng.random(len(among)) < habits.NOTE / 4)
    chosen = among.iloc[rows]
    text = between(rng, 0, len(habits.NOTES) - 1, rows.size)
    return entries(column(chosen, "line"), column(chosen, "day"), kind=code(EntryKind.NOTE),
                   note=text, minute=between(rng, 1200, 1260, rows.size))  # fmt: skip


def watched(rng: np.random.Generator, rows: pd.DataFrame) -> pd.DataFrame:
    """Let some looks that saw nothing see an itch, a bruise or tenderness."""
    seen = column(rows, "findings").copy()
    hit = np.flatnonzero((seen == NOTHING) & (rng.random(seen.size) < habits.WATCHED))
    seen[hit] = pick(rng, hit.size, finding_odds(habits.WATCHED_FINDING))
    return rows.assign(findings=seen)


def at_home(lines: pd.DataFrame, away: Spans, rows: pd.DataFrame) -> pd.DataFrame:
    """Leave out entries of days away from home, before coming home or after the end."""
    line, day = column(rows, "line"), column(rows, "day")
    inside = (day >= column(lines, "home")[line]) & (day < column(lines, "end")[line])
    absent = away.holding(column(lines, "child")[line], day) != BLANK
    kept = inside & (~absent | (column(rows, "sure") == 2))
    return rows[kept].reset_index(drop=True)


def _now_and_then(
    rng: np.random.Generator, rate: npt.NDArray[np.float64], start: Ints, end: Ints
) -> tuple[Ints, Ints]:
    length = np.maximum(end - start, 0)
    owner, _ = ragged(rng.poisson(rate * length))
    return owner, start[owner] + np.floor(rng.random(owner.size) * length[owner]).astype(np.int64)


def _again_and_again(
    rng: np.random.Generator, which: Ints, start: Ints, end: Ints, gap: tuple[int, int]
) -> tuple[Ints, Ints]:
    """Days with gaps drawn from ``gap`` over ``[start, end)`` of the owners `which`."""
    count = np.maximum((end - start)[which] // gap[0] + 1, 0)
    at, _ = ragged(count)
    step = between(rng, gap[0], gap[1], at.size)
    total = np.cumsum(step)
    before = np.append(0, total)[np.cumsum(count) - count]
    day = start[which][at] + total - before[at]
    keep = day < end[which][at]
    return which[at][keep], day[keep]


def _days_back(lines: pd.DataFrame, away: Spans) -> tuple[Ints, Ints]:
    """Line and day of each return from a stay with the line still in."""
    child = column(lines, "child")
    order = np.argsort(child, kind="stable")
    low = np.searchsorted(child[order], away.owner, side="left")
    count = np.searchsorted(child[order], away.owner, side="right") - low
    stay, k = ragged(count)
    line = order[low[stay] + k]
    return line, away.end[stay]


def _lines_at(lines: pd.DataFrame, family: Ints, day: Ints, end: Ints) -> Ints:
    """How many lines of a family are home on a day."""
    came = np.sort(pack(column(lines, "family"), column(lines, "home")))
    gone = np.sort(pack(column(lines, "family"), end))
    origin = np.zeros(family.size, dtype=np.int64)
    return days_within(came, family, origin, day) - days_within(gone, family, origin, day)
