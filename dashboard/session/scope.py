"""Which recorded acts are left for a person who may see the families of some sites alone?"""

from __future__ import annotations

import pandas as pd

from analysis.snapshot import Snapshot


def acts_of(found: Snapshot, acts: pd.DataFrame) -> pd.DataFrame:
    """Those of all calls or arrangements that speak of families of a snapshot."""
    families = found.records.lines["family_id"].unique()
    own = acts["family_id"].isin(families).to_numpy(dtype=bool, na_value=False)
    return acts[own].reset_index(drop=True)
