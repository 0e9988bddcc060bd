"""What is worked out once for the educator's page and then only looked up?"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import NO_SIGN_OFF, practice
from analysis.decisions.refreshers import refreshers
from analysis.decisions.retraining import LIKELY_PROBABILITY, retraining, sites_of
from analysis.snapshot import Snapshot
from analysis.vocabulary import SignOffKind, Skill

SURE = 0.95
"""From this probability on a need is called almost sure (project choice)."""
SURENESS = ("sure", "likely", "open")


@dataclass(frozen=True)
class Training:
    """Needs of one snapshot. Recorded calls say nothing of them."""

    found: Snapshot

    @cached_property
    def told(self) -> pd.DataFrame:
        """Columns of `RETRAINING`, facts without a share (no sign-off) among them."""
        known = (self.found.timeline, self.found.records, self.found.policy)
        return retraining(*known)

    @cached_property
    def helped(self) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Columns of `REFRESHERS` and of `LEARNING`, of all steps."""
        records = self.found.records
        seen = practice(self.found.timeline, records, self.found.policy)
        return refreshers(seen, records), learning_curve(seen, records)

    @cached_property
    def needs(self) -> pd.DataFrame:
        """Those of `told` with a share, the surest first: with sureness, site, refreshed_on."""
        needs = self.told[(self.told["step"] != NO_SIGN_OFF).to_numpy(dtype=bool)]
        prob = needs["prob_above"].to_numpy()
        level = np.where(prob >= SURE, 0, np.where(prob >= LIKELY_PROBABILITY, 1, 2))
        sites = sites_of(self.found.timeline).set_index("family_id")["site"]
        return needs.assign(
            sureness=np.array(SURENESS)[level],
            site=needs["family_id"].map(sites),
            refreshed_on=needs["caregiver_id"].map(self._refreshed_on()).astype("datetime64[s]"),
        ).reset_index(drop=True)

    def _refreshed_on(self) -> pd.Series[pd.Timestamp]:
        """Day of the last refresher of the dressing change up to the day, by caregiver."""
        shown = self.found.records.sign_offs
        given = (
            (shown["kind"] == SignOffKind.REFRESHER)
            & (shown["skill"] == Skill.DRESSING_CHANGE)
            & (shown["signed_on"] <= pd.Timestamp(self.found.as_of))
        )
        own = shown[given.fillna(value=False).to_numpy(dtype=bool)]
        return own.groupby("caregiver_id")["signed_on"].max()

    @cached_property
    def self_checked(self) -> int:
        """Families with a line in place of whom a self-check is logged."""
        log, lines = self.found.records.home_log, self.found.timeline.lines
        checked = log.loc[log["steps_missed"].notna(), "family_id"].unique()
        in_place = lines.loc[lines["end_on"].isna(), "family_id"].drop_duplicates()
        return int(in_place.isin(checked).sum())

    @cached_property
    def families(self) -> int:
        """Families with a line in place."""
        lines = self.found.timeline.lines
        return int(lines.loc[lines["end_on"].isna(), "family_id"].nunique())
