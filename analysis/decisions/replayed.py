"""Replayed mornings and what happened after them, as numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import days_of
from analysis.decisions.later_events import KINDS
from analysis.vocabulary import RESTING

HORIZON_DAYS = 7
"""An event counts when it falls on the morning's day or one of the six after it."""

Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Replayed:
    """Replayed mornings and later events as numbers; one position a family-morning."""

    mornings: pd.DataFrame
    family: Ints
    day: Ints
    event: Flags
    """An event of the family within the horizon."""
    event_family: Ints
    event_day: Ints
    """Of events whose mornings were all replayed, in order of family and day."""
    event_kind: npt.NDArray[np.object_]
    kind: str = "all"
    """Which events: `HARM`, `PROCESS` or all."""

    @classmethod
    def of(cls, mornings: pd.DataFrame, events: pd.DataFrame, kind: str = "all") -> Replayed:
        """Join mornings (`MORNINGS`) and later events (`LATER_EVENTS`) of a kind.

        Families never at home on a replayed morning have no list to be on, and their events
        do not count.
        """
        if kind in KINDS:
            events = events[events["event"].isin(KINDS[kind]).to_numpy(dtype=bool)]
        mornings = mornings.sort_values(["morning", "family_id"], ignore_index=True)
        family, families = pd.factorize(mornings["family_id"], sort=True)
        day = days_of(mornings["morning"])
        place = pd.Index(families).get_indexer(events["family_id"])
        known = place >= 0
        owner, on = place[known].astype(np.int64), days_of(events["on"])[known]
        what = events["event"].astype("object").to_numpy()[known]
        order = np.lexsort((what, on, owner))
        owner, on, what = owner[order], on[order], what[order]
        last = days_of(events["last_morning"])[known][order]
        happened = _covered(owner, on - HORIZON_DAYS + 1, last, family.astype(np.int64), day)
        replayed = np.unique(day)
        low = np.searchsorted(replayed, on - HORIZON_DAYS + 1)
        whole = np.searchsorted(replayed, on + 1) - low == HORIZON_DAYS
        return cls(
            mornings,
            family.astype(np.int64),
            day,
            happened,
            owner[whole],
            on[whole],
            what[whole],
            kind,
        )

    @property
    def callable(self) -> Flags:
        """Families that neither wait after a call nor are postponed."""
        return np.asarray(~self.mornings["band"].isin([str(b) for b in RESTING]), dtype=np.bool_)

    def lead_days(self, chosen: Flags) -> Ints:
        """By event, days from the first chosen morning within the horizon; -1: none was chosen."""
        family, day = self.family[chosen], self.day[chosen]
        order = np.lexsort((day, family))
        low = self.event_day - HORIZON_DAYS + 1
        at = _first_in(family[order], day[order], self.event_family, low, self.event_day + 1)
        lead = np.full(len(at), -1, dtype=np.int64)
        lead[at >= 0] = self.event_day[at >= 0] - day[order][at[at >= 0]]
        return lead


def _covered(owner: Ints, first: Ints, last: Ints, of: Ints, day: Ints) -> Flags:
    """Whether a day of `of` lies in one of its spans [first, last]."""
    if not len(owner):
        return np.zeros(len(of), dtype=bool)
    base = min(int(first.min()), int(day.min()) if len(day) else 0)
    width = max(int(last.max()), int(day.max()) if len(day) else 0) - base + 2
    key = of * width + (day - base)
    begun = np.searchsorted(np.sort(owner * width + first - base), key, side="right")
    over = np.searchsorted(np.sort(owner * width + last - base), key, side="left")
    return np.asarray(begun > over, dtype=np.bool_)


def _first_in(owner: Ints, day: Ints, of: Ints, low: Ints, high: Ints) -> Ints:
    """Position of the first day of `of` in [low, high); -1: none. Sorted by owner and day."""
    if not len(owner):
        return np.full(len(of), -1, dtype=np.int64)
    base = min(int(day.min()), int(low.min()) if len(low) else 0)
    width = max(int(day.max()), int(high.max()) if len(high) else 0) - base + 2
    key = owner * width + (day - base)
    at = np.searchsorted(key, of * width + (low - base))
    inside = at < len(key)
    inside[inside] = key[at[inside]] < (of * width + (high - base))[inside]
    return np.where(inside, at, -1)
