"""How is the snapshot of a day kept between questions, and what is it made anew from?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.tables import KNOWN, Records
from dashboard.retraining.queries.training import Training
from dashboard.session.answers import Answers
from dashboard.session.frames import RowsBy, of, stacked

LEADS = {
    "lines": "family_id",
    "caregivers": "family_id",
    "home_log": "family_id",
    "stays": "child_id",
    "outcomes": "child_id",
    "sign_offs": "caregiver_id",
}
"""The code by which the rows of each table are looked up; calls and arrangements are few."""
NOBODY = ""
"""A code of no row: what is found of it has the columns and no rows."""
PAPERS_KEPT = 24


@dataclass(frozen=True)
class Kept:
    """A snapshot with what pages look up in it again and again."""

    snapshot: Snapshot

    @cached_property
    def by(self) -> dict[str, RowsBy]:
        """Rows of each table by the code that leads from a family to them."""
        records = self.snapshot.records
        return {name: RowsBy(getattr(records, name), code) for name, code in LEADS.items()}

    def of_family(self, family_id: str) -> Snapshot:
        """What is known of one family alone: nothing about it follows from other families."""
        found = {n: self.by[n][family_id] for n, code in LEADS.items() if code == "family_id"}
        for name, code in LEADS.items():
            if name not in found:
                owners = found["caregivers" if code == "caregiver_id" else "lines"][code].unique()
                found[name] = stacked(
                    [self.by[name][NOBODY], *(self.by[name][str(owner)] for owner in owners)]
                )
        for name in ("calls", "arrangements"):
            found[name] = of(getattr(self.snapshot.records, name), "family_id", family_id)
        return replace(self.snapshot, records=Records(**found))

    @cached_property
    def answers(self) -> Answers:
        """What was asked of it and answered."""
        return Answers()

    @cached_property
    def lasting(self) -> Answers:
        """Answers that calls and arrangements change nothing of."""
        return Answers()

    @cached_property
    def training(self) -> Training:
        """Who misses which step."""
        return Training(self.snapshot)

    def look_ahead(self) -> None:
        """Work out now what the pages would work out when they are first opened."""
        _ = self.by, self.snapshot.calls, self.snapshot.tallies, self.training.needs

    @cached_property
    def papers(self) -> Answers:
        """Digests of weeks that are over, by what was known before today: no call changes them."""
        return Answers(PAPERS_KEPT)

    def with_acts_of(self, store: Store) -> Kept | None:
        """The same rows with the calls and arrangements made since; None when files went in as well.

        These change nothing that was logged, so rows, timeline and look-up stay and only the
        calling order is worked out again; without any since, everything stays.
        """
        before = self.snapshot
        if not store.ingests().equals(before.ingests):
            return None
        known_at = pd.Timestamp(before.known_at).tz_localize(None)
        calls = _standing(store.all_calls(), "calls", known_at)
        arrangements = _standing(store.all_arrangements(), "arrangements", known_at)
        return self.with_acts(calls, arrangements)

    def with_acts(self, calls: pd.DataFrame, arrangements: pd.DataFrame) -> Kept:
        """The same rows with other calls and arrangements; the very same where they are the same."""
        records = self.snapshot.records
        if calls.equals(records.calls) and arrangements.equals(records.arrangements):
            return self
        kept = Kept(self.snapshot.with_acts(calls, arrangements))
        for part in ("training", "by", "lasting", "papers"):
            vars(kept)[part] = getattr(self, part)
        return kept


def _standing(acts: pd.DataFrame, name: str, known_at: pd.Timestamp) -> pd.DataFrame:
    stands = (acts["made_at"] <= known_at) & ~(acts["undone_at"] <= known_at)
    return acts.loc[stands.to_numpy(dtype=bool), KNOWN[name].names].reset_index(drop=True)
