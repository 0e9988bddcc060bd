"""What is left of everything for a person who may see the families of some sites alone?"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import pandas as pd

from analysis.snapshot import Snapshot
from analysis.tables import Records


def of_sites(found: Snapshot, sites: Collection[str]) -> Snapshot:
    """The snapshot as if no other families were stored than those with a line of these sites.

    Counts, orders and lists to choose from follow from the records left, so that nothing of the
    other families can be told from them.
    """
    records = found.records
    here = records.lines["site"].isin(list(sites))
    families = records.lines.loc[here, "family_id"].unique()
    lines = _those(records.lines, "family_id", families)
    caregivers = _those(records.caregivers, "family_id", families)
    children = lines["child_id"].unique()
    return replace(
        found,
        records=Records(
            lines=lines,
            stays=_those(records.stays, "child_id", children),
            caregivers=caregivers,
            sign_offs=_those(records.sign_offs, "caregiver_id", caregivers["caregiver_id"]),
            home_log=_those(records.home_log, "family_id", families),
            outcomes=_those(records.outcomes, "child_id", children),
            calls=_those(records.calls, "family_id", families),
            arrangements=_those(records.arrangements, "family_id", families),
        ),
    )


def acts_of(found: Snapshot, acts: pd.DataFrame) -> pd.DataFrame:
    """Those of all calls or arrangements that speak of families of a snapshot."""
    return _those(acts, "family_id", found.records.lines["family_id"].unique())


def _those(frame: pd.DataFrame, column: str, values: Collection[str]) -> pd.DataFrame:
    wanted = frame[column].isin(list(values)).to_numpy(dtype=bool, na_value=False)
    return frame[wanted].reset_index(drop=True)
