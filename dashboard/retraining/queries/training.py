"""What is calculated once for the educator's page and then only looked up?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.day import log_of
from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import NO_SIGN_OFF
from analysis.decisions.refreshers import refreshers
from analysis.decisions.retraining import sites_of
from analysis.snapshot import Snapshot
from analysis.tables.codes import is_among
from analysis.vocabulary import NeedState
from dashboard.session.frames import cells

SURE = 0.95
"""From this probability on a need is called almost sure (project choice)."""
SURENESS = ("sure", "likely", "watch", "improved", "open")
"""How a need is listed: two levels of certainty that the caregiver needs retraining, then those
recently retrained, those who improved since, and those with no need."""
STATES = {
    NeedState.WATCH: "watch",
    NeedState.TOO_EARLY: "watch",
    NeedState.IMPROVED: "improved",
    NeedState.NO_NEED: "open",
}


@dataclass(frozen=True)
class Training:
    """Needs of one snapshot. Recorded calls say nothing of them."""

    found: Snapshot

    @cached_property
    def facts(self) -> pd.DataFrame:
        """Columns of `RETRAINING`, facts without a share (no sign-off) among them."""
        return self.found.retraining

    @cached_property
    def helped(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Columns of `REFRESHERS` and of `LEARNING`, of all steps."""
        records = self.found.records
        seen = self.found.practice
        return refreshers(seen, records), learning_curve(seen, records)

    @cached_property
    def needs(self) -> pd.DataFrame:
        """Those of `facts` with a share, the surest first: with sureness, site, refreshed_on."""
        needs = self.facts[(self.facts["step"] != NO_SIGN_OFF).to_numpy(dtype=bool)]
        certain = np.where(needs["prob_above"].to_numpy() >= SURE, "sure", "likely")
        state = needs["state"].astype("object")
        level = state.map({str(s): name for s, name in STATES.items()}).to_numpy(dtype=object)
        level = np.where((state == NeedState.RETRAIN).to_numpy(dtype=bool), certain, level)
        sites = sites_of(self.found.timeline).set_index("family_id")["site"]
        needs = needs.assign(
            sureness=pd.Categorical(level, categories=list(SURENESS), ordered=True),
            site=needs["family_id"].map(sites),
        )
        # The order of the analysis, within each group of the list.
        needs = needs.sort_values("sureness", kind="stable", ignore_index=True)
        return needs.assign(sureness=needs["sureness"].astype("string"))

    def needs_of(self, family_id: str) -> pd.DataFrame:
        """The needs of one family."""
        return self.needs.take(self._places.get(family_id, []))

    def rows_of(self, family_id: str) -> list[tuple[int, str | None, str]]:
        """Row, caregiver and step of each need of a family."""
        return [self._rows[at] for at in self._places.get(family_id, [])]

    @cached_property
    def _rows(self) -> list[tuple[int, str | None, str]]:
        return [(at, *need) for at, need in enumerate(cells(self.needs, "caregiver_id", "step"))]

    @cached_property
    def _places(self) -> dict[str, npt.NDArray[np.intp]]:
        """Where each family's needs are."""
        of_family = self.needs.groupby("family_id").indices.items()
        return {str(family): np.asarray(at, dtype=np.intp) for family, at in of_family}

    @cached_property
    def self_checked(self) -> int:
        """Families with a line in place and a logged self-check."""
        lines = self.found.timeline.lines
        log = log_of(self.found.timeline, self.found.records)
        checked = log.loc[log["steps_missed"].notna(), "family_id"].unique()
        in_place = lines.loc[lines["end_on"].isna(), "family_id"].drop_duplicates()
        return int(is_among(in_place, checked).sum())

    @cached_property
    def families(self) -> int:
        """Families with a line in place."""
        lines = self.found.timeline.lines
        return int(lines.loc[lines["end_on"].isna(), "family_id"].nunique())
