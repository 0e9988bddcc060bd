"""Do caregivers miss less, the more changes they have done since their first sign-off?"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.stats.bootstrap import cluster_share_interval
from analysis.tables.codes import positions_of
from analysis.tables.records import Records
from analysis.tables.retraining import LEARNING
from analysis.timeline.axis import DAY_BITS
from analysis.vocabulary import EntryKind, SignOffOutcome, Skill

FIRSTS = (1, 6, 11, 21, 51)
"""First change of each range: the first five, the next five, then ten, thirty, and all later."""
NEVER = 1 << 40
"""A day after every other."""

Ints = npt.NDArray[np.int64]


def learning_curve(seen: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Return the share missed by step and by number of changes done since the first sign-off.

    The number of a change counts the caregiver's own dressing changes from the day of the first
    ``independent`` sign-off on, days with a change and not rows. Occasions of caregivers never
    signed off, or before it, are left out.

    Parameters
    ----------
    seen : DataFrame
        Columns of `PRACTICE`.
    records : Records
        Home log and sign-offs.

    Returns
    -------
    DataFrame
        Columns of `LEARNING`, by step and range; limits resample families. A range that no one
        reached has no row.

    *Source:* project definition, definitions §8.
    """
    people, steps = (seen[name].cat.categories for name in ("caregiver_id", "step"))
    reached_on = _reached_on(records, people)
    person = seen["caregiver_id"].cat.codes.to_numpy()
    family = seen["family_id"].cat.codes.to_numpy()
    day = days_of(seen["done_on"])
    later = (day >= reached_on[0][person]) & (family >= 0)
    person, family, day = person[later], family[later], day[later]
    place = np.zeros(len(day), dtype=np.int64)
    for on in reached_on[2:]:
        place += day >= on[person]
    # Before: one row an occasion; after: one row a step, range and family.
    n_families = len(seen["family_id"].cat.categories)
    cell = seen["step"].cat.codes.to_numpy()[later] * np.int64(len(FIRSTS)) + place
    cell = cell * n_families + family
    missed = np.bincount(cell[seen["missed"].to_numpy()[later]])
    occasions = np.bincount(cell)
    families = np.flatnonzero(occasions)
    keys, group = np.unique(families // n_families, return_inverse=True)
    missed = np.append(missed, np.zeros(len(occasions) - len(missed), dtype=np.int64))
    shares = cluster_share_interval(
        missed[families], occasions[families], group, n_groups=len(keys)
    )
    at = keys % len(FIRSTS)
    ends = pd.array([*(f - 1 for f in FIRSTS[1:]), None], dtype="Int64")
    frame = pd.DataFrame(
        {
            "step": pd.Series(steps.take(keys // len(FIRSTS)), dtype="string"),
            "first_change": np.array(FIRSTS, dtype=np.int64)[at],
            "last_change": ends.take(at),
            "families": shares.families,
            "seen": shares.denominator,
            "missed": shares.numerator,
            "share": shares.share,
            "lower": shares.lower,
            "upper": shares.upper,
        }
    )
    return LEARNING.check(frame)


def _first_sign_off(records: Records) -> pd.Series[pd.Timestamp]:
    shown = records.sign_offs
    alone = (shown["skill"] == Skill.DRESSING_CHANGE) & (
        shown["outcome"] == SignOffOutcome.INDEPENDENT
    )
    return shown[alone.to_numpy(dtype=bool)].groupby("caregiver_id")["signed_on"].min()


def _reached_on(records: Records, people: pd.Index[Any]) -> Ints:
    """Day of the first sign-off, and of each caregiver's change that begins a range.

    Returns
    -------
    int64 array, shape (1 + ranges, caregivers + 1)
        `NEVER` where there is none; the last caregiver stands for occasions of no one.
    """
    log, n = records.home_log, len(people)
    reached_on = np.full((1 + len(FIRSTS), n + 1), NEVER, dtype=np.int64)
    first_on = _first_sign_off(records)
    reached_on[0, :n] = days_of(first_on.reindex(people).astype("datetime64[s]"))
    reached_on[0, reached_on[0] == NO_DAY] = NEVER
    done = log.loc[(log["kind"] == EntryKind.DRESSING_CHANGE).to_numpy(dtype=bool)]
    person, day = positions_of(done["caregiver_id"], pd.Series(people)), days_of(done["done_on"])
    since = day >= reached_on[0][person]
    # Before: one row a change; after: one row a caregiver and day with one since the sign-off.
    changes = np.unique((person[since] << DAY_BITS) + day[since])
    person, day = changes >> DAY_BITS, changes & ((1 << DAY_BITS) - 1)
    nth = np.arange(len(person)) - np.searchsorted(person, person) + 1
    for place, first in enumerate(FIRSTS, start=1):
        begins = nth == first
        reached_on[place, person[begins]] = day[begins]
    return reached_on
