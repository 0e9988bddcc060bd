"""How is the snapshot of a day kept between questions, and what is it made anew from?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from analysis.snapshot import Snapshot
from analysis.store import Store
from analysis.tables import KNOWN
from dashboard.queries.answers import Answers
from dashboard.queries.frames import RowsBy
from dashboard.queries.training import Training


@dataclass(frozen=True)
class Kept:
    """A snapshot with what pages look up in it again and again."""

    snapshot: Snapshot

    @cached_property
    def log(self) -> RowsBy:
        """Home-log rows by family."""
        return RowsBy(self.snapshot.records.home_log, "family_id")

    @cached_property
    def answers(self) -> Answers:
        """What was asked of it and answered."""
        return Answers()

    @cached_property
    def training(self) -> Training:
        """Who misses which step."""
        return Training(self.snapshot)

    def with_calls_of(self, store: Store) -> Kept | None:
        """The same rows with the calls recorded since; None when files went in as well.

        A recorded call changes nothing that was logged, so rows, timeline and look-up stay and
        only the calling order is worked out again.
        """
        before = self.snapshot
        if not store.ingests().equals(before.ingests):
            return None
        calls = store.all_calls()
        known_at = pd.Timestamp(before.known_at).tz_localize(None)
        stands = (calls["made_at"] <= known_at) & ~(calls["undone_at"] <= known_at)
        calls = calls.loc[stands.to_numpy(dtype=bool), KNOWN["calls"].names]
        return self.with_calls(calls.reset_index(drop=True))

    def with_calls(self, calls: pd.DataFrame) -> Kept:
        """The same rows with other calls; nothing that does not follow from calls is redone."""
        kept = Kept(self.snapshot.with_calls(calls))
        vars(kept)["log"] = self.log
        vars(kept)["training"] = self.training
        return kept
