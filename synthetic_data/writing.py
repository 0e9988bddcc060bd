"""Who wrote each entry, with which steps left out, and when did the clinic get it?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.vocabulary import EntryKind, Relation
from synthetic_data import habits
from synthetic_data.draws import BLANK, Bools, Ints, between, code, column, happenings
from synthetic_data.entries import CHANGE, NOTHING, STEP_TEXTS, STEPS
from synthetic_data.households import FORM, PAPER, first_caregiver
from synthetic_data.scene import Scene
from synthetic_data.spans import Spans

_DAY = 24 * 60
_NURSE = code(Relation.HOME_NURSE)
_SKILLED = tuple(
    code(k)
    for k in (
        EntryKind.DRESSING_CHANGE,
        EntryKind.CONNECTOR_CHANGE,
        EntryKind.NEEDLE_CHANGE,
        EntryKind.PORT_ACCESSED,
        EntryKind.PORT_DEACCESSED,
    )
)


def logged(
    rng: np.random.Generator, scene: Scene, homes: pd.DataFrame, rows: pd.DataFrame
) -> pd.DataFrame:
    """Leave out what families forget to write down: single entries, now and then two weeks.

    One row a line, day and kind of change is kept: the first.
    """
    key = pd.DataFrame({name: rows[name] for name in ("line", "day", "kind")})
    twice = key.duplicated().to_numpy() & np.isin(key["kind"].to_numpy(), _SKILLED)
    family, day = column(rows, "family"), column(rows, "day")
    missing = homes["missing"].to_numpy()
    lost = rng.random(len(rows)) < missing[family]
    rate = np.where(missing > 0, habits.QUIET_PER_DAY, 0.0)
    every = np.zeros(len(homes), dtype=np.int64)
    who, since = happenings(rng, rate, every + scene.start, every + scene.until)
    quiet = Spans.merged(who, since, since + between(rng, *habits.QUIET_DAYS, who.size))
    lost |= quiet.holding(family, day) != BLANK
    return rows[~twice & (~lost | (column(rows, "sure") > 0))].reset_index(drop=True)


def with_caregivers(
    rng: np.random.Generator,
    homes: pd.DataFrame,
    people: pd.DataFrame,
    rows: pd.DataFrame,
    shares: Ints,
) -> pd.DataFrame:
    """Who did it: mostly the first caregiver; skilled work only who may or does.

    `shares` are families in which the second does about half of the changes, the last of
    them too.
    """
    first, count = first_caregiver(people, len(homes))
    family = column(rows, "family")
    n = len(rows)
    other = first[family] + 1 + between(rng, 0, np.maximum(count[family] - 2, 0), n)
    other = np.where(count[family] > 1, other, first[family])
    nurse = column(people, "relation")[other] == _NURSE
    halves = np.isin(family, shares)
    second = rng.random(n) < np.where(nurse | halves, 0.5, 0.22)
    who = np.where(second, other, first[family])
    if shares.size:
        who = np.where(_last_change(rows, halves), first[family] + 1, who)
    skilled = np.isin(column(rows, "kind"), _SKILLED)
    may = people["acts"].to_numpy()[who] & (column(people, "acts_from")[who] <= column(rows, "day"))
    who = np.where(skilled & ~may, first[family], who)
    given = column(rows, "caregiver")
    who = np.where(given != BLANK, given, who)
    named = (rng.random(n) < 0.97) | halves | (given != BLANK)
    visiting = column(people, "relation")[who] == _NURSE
    return rows.assign(caregiver=np.where(named | visiting, who, BLANK), visit=visiting)


def with_steps(
    rng: np.random.Generator, homes: pd.DataFrame, people: pd.DataFrame, rows: pd.DataFrame
) -> pd.DataFrame:
    """Fill the self-check of dressing changes: steps left out, none, or not filled in."""
    change = column(rows, "kind") == CHANGE
    filled = change & (
        rng.random(len(rows)) < homes["self_checks"].to_numpy()[column(rows, "family")]
    )
    who = np.maximum(column(rows, "caregiver"), 0)
    slips = rng.random(len(rows)) < people["slips"].to_numpy()[who]
    own = rng.random(len(rows)) < 0.75
    step = 1 + np.where(own, column(people, "weak_step")[who],
                        between(rng, 0, len(STEPS) - 2, len(rows)))  # fmt: skip
    both = rng.random(len(rows)) < 0.08
    pair = STEP_TEXTS.index("hand_wash;mask")
    missed = np.where(slips, np.where(both & ~own, pair, step), NOTHING)
    return rows.assign(steps=np.where(filled, missed, column(rows, "steps")))


def with_remarks(rng: np.random.Generator, rows: pd.DataFrame) -> pd.DataFrame:
    """A few words with some entries."""
    some = (rng.random(len(rows)) < habits.NOTE) & (column(rows, "note") == BLANK)
    text = between(rng, 0, len(habits.NOTES) - 1, len(rows))
    return rows.assign(note=np.where(some, text, column(rows, "note")))


def with_receipt(
    rng: np.random.Generator, scene: Scene, homes: pd.DataFrame, rows: pd.DataFrame, at_once: Bools
) -> pd.DataFrame:
    """Minute (since 1970) at which the clinic got each entry; and drop what it has not yet.

    A form comes within the hour, paper by post after a day to three, what is reported by phone
    is in the clinic's sheet the same evening, now and then the next working morning. Visiting nurses use the form. Entries
    of families without a form carry their day only. `at_once`: entries that are not to be late.
    """
    family, n = column(rows, "family"), len(rows)
    visit = rows["visit"].to_numpy()
    channel = np.where(visit, FORM, column(homes, "channel")[family])
    timed = visit | homes["timed"].to_numpy()[family]
    day, minute = column(rows, "day"), column(rows, "minute")
    done = day * _DAY + minute
    soon = done + np.minimum(2 + rng.lognormal(2.5, 1.0, n), 90).astype(np.int64)
    late = (rng.random(n) < 0.04) & ~at_once
    soon = np.where(late, done + between(rng, _DAY, 3 * _DAY, n), soon)
    morning = between(rng, 9 * 60, 12 * 60 - 1, n)
    posted = (day + between(rng, 1, 3, n)) * _DAY + morning
    weekday = (day + 1 + 3) % 7  # 1970-01-01 was a Thursday; Monday is 0
    office = day + 1 + np.where(weekday >= 5, 7 - weekday, 0)
    evening = day * _DAY + between(rng, 22 * 60, 22 * 60 + 45, n)
    by_phone = np.where(rng.random(n) < 0.06, office * _DAY + morning, evening)
    received = np.where(channel == FORM, soon, np.where(channel == PAPER, posted, by_phone))
    out = rows.assign(received=received, minute=np.where(timed, minute, BLANK))
    return out[received < scene.until * _DAY].reset_index(drop=True)


def _last_change(rows: pd.DataFrame, among: Bools) -> Bools:
    """Whether an entry is the newest dressing change of its line."""
    candidates = np.flatnonzero(among & (column(rows, "kind") == CHANGE))
    out = np.zeros(len(rows), dtype=bool)
    line, day = column(rows, "line")[candidates], column(rows, "day")[candidates]
    order = np.lexsort((day, line))
    last = np.ones(order.size, dtype=bool)
    last[:-1] = line[order][1:] != line[order][:-1]
    out[candidates[order][last]] = True
    return out
