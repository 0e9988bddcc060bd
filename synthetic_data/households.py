"""Which families, children and caregivers are in the programme, and what are their habits?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.vocabulary import Relation, Therapy
from synthetic_data import habits
from synthetic_data.draws import (
    Bools,
    Floats,
    Ints,
    between,
    code,
    column,
    ensure_each,
    pick,
    ragged,
)
from synthetic_data.scene import NEVER, NURSES_A_TEAM, Scene

FORM, PAPER, SHEET = 0, 1, 2
"""How a family's entries reach the clinic: at once by a form; by post; by phone."""

CHANNEL_OF_TEAM = (PAPER, SHEET, FORM)
"""Channel of most families of each team word (a part of the first team uses paper)."""

PAPER_SHARE = 0.18


def families(rng: np.random.Generator, scene: Scene) -> pd.DataFrame:
    """One row a family: where it belongs, when it joined and how it goes about the care.

    Probabilities are shares; rates are per day; days are days since 1970.
    """
    n = scene.families
    number = scene.first + np.arange(n)
    team = (number - 1) % scene.teams
    channel = np.array(CHANNEL_OF_TEAM)[team % len(CHANNEL_OF_TEAM)]
    channel = np.where((channel == PAPER) & (rng.random(n) > PAPER_SHARE), FORM, channel)
    early_bird = rng.random(n) < habits.JOINED_AT_START
    joined = np.where(
        early_bird,
        between(rng, scene.start, scene.start + 40, n),
        between(rng, scene.start + 40, scene.until - 3, n),
    )
    leaves = np.where(rng.random(n) < habits.LEAVES, joined + between(rng, 30, 700, n), NEVER)
    skin = rng.gamma(4.0, 0.25, n)
    fails = habits.FAILS * rng.gamma(4.0, 0.25, n)
    return pd.DataFrame(
        {
            "number": number,
            "team": team,
            "nurse": (number - 1) // scene.teams % NURSES_A_TEAM,
            "channel": channel,
            "timed": (channel == FORM),
            "numbered": ~_every_fourth(channel == PAPER),
            "therapy": pick(rng, n, habits.THERAPY),
            "joined": joined,
            "leaves": leaves,
            "late": pick(rng, n, habits.LATE_HABIT) / 100,
            "fails": fails,
            "fails_later": fails,
            "later_from": np.full(n, NEVER, dtype=np.int64),
            "lifts_early": np.zeros(n, dtype=bool),
            "checks": pick(rng, n, habits.CHECKS_A_WEEK) / 70,
            "skin": habits.SKIN_PER_DAY * skin / _mean_by(team, skin)[team],
            "missing": pick(rng, n, habits.MISSING_HABIT) / 1000,
            "self_checks": np.where(rng.random(n) < 0.75, 0.95, 0.25),
            "kit_days": pick(rng, n, habits.KIT_DELIVERY),
            "language": pick(rng, n, habits.LANGUAGE),
        }
    )


def _every_fourth(among: Bools) -> Bools:
    return among & (np.cumsum(among) % 4 == 1)


def _mean_by(group: Ints, values: Floats) -> Floats:
    """Mean by group, so that teams start out alike and differ by what is planted."""
    count = np.maximum(np.bincount(group), 1)
    return np.bincount(group, values) / count


def children(rng: np.random.Generator, homes: pd.DataFrame) -> pd.DataFrame:
    """One row a child: born, first home with a line, how long it needs one."""
    owner, which = ragged(1 + (rng.random(len(homes)) < habits.SECOND_CHILD).astype(np.int64))
    n = owner.size
    therapy = column(homes, "therapy")[owner]
    joined = column(homes, "joined")[owner] + np.where(which > 0, between(rng, 20, 200, n), 0)
    lag = np.where(rng.random(n) < 0.7, between(rng, 3, 21, n), between(rng, 25, 420, n))
    low, high = np.array([habits.NEEDED_DAYS[t] for t in Therapy]).T
    young, old = np.array([habits.AGE_YEARS[t] for t in Therapy]).T
    age = young[therapy] + (old - young)[therapy] * rng.beta(0.9, 1.9, n)
    age_days = np.maximum((age * 365.25).astype(np.int64), lag + 2)
    return pd.DataFrame(
        {
            "family": owner,
            "which": which,
            "therapy": therapy,
            "joined": joined,
            "lag": lag,
            "born": joined - age_days,
            "until": joined + between(rng, low[therapy], high[therapy], n),
            "respite": rng.random(n) < habits.RESPITE_FAMILIES,
        }
    )


def caregivers(rng: np.random.Generator, homes: pd.DataFrame, kids: pd.DataFrame) -> pd.DataFrame:
    """One row a caregiver, those of a family one after another, the one who mostly acts first."""
    draw = rng.random(len(homes))
    owner, which = ragged(1 + (draw < 0.68).astype(np.int64) + (draw < 0.2))
    n = owner.size
    relation = np.where(
        which == 0,
        code(Relation.PARENT),
        np.where(
            which == 1,
            pick(rng, n, habits.SECOND_CAREGIVER),
            pick(rng, n, habits.THIRD_CAREGIVER),
        ),
    )
    oldest = np.full(len(homes), NEVER, dtype=np.int64)
    np.minimum.at(oldest, column(kids, "family"), column(kids, "born"))
    joined = column(homes, "joined")[owner]
    grown = joined - oldest[owner] > 12 * 365
    lone = which == 0
    relation = np.where(
        (relation == code(Relation.SELF)) & ~grown, code(Relation.OTHER_RELATIVE), relation
    )
    relation = np.where(lone & grown & (rng.random(n) < 0.12), code(Relation.SELF), relation)
    ensure_each(rng, relation, [w for w in Relation if w is not Relation.SELF], ~lone)
    ensure_each(rng, relation, [Relation.SELF], lone & grown)
    nurse = relation == code(Relation.HOME_NURSE)
    trained = lone | nurse | (rng.random(n) < np.where(which == 1, 0.85, 0.5))
    late = ~lone & (rng.random(n) < 0.3)
    return pd.DataFrame(
        {
            "family": owner,
            "which": which,
            "relation": relation,
            "signs": trained,
            "acts": trained,
            "acts_from": joined + np.where(late, between(rng, 20, 200, n), 0),
            "slips": pick(rng, n, habits.STEP_HABIT) / 100,
            "weak_step": between(rng, 0, 10, n),
        }
    )


def first_caregiver(people: pd.DataFrame, families_: int) -> tuple[Ints, Ints]:
    """Position of each family's first caregiver, and how many it has."""
    count = np.bincount(column(people, "family"), minlength=families_)
    return np.cumsum(count) - count, count
