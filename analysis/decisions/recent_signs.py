"""What in a family's recent log may come before harm: findings, spoiled dressings, a new caregiver?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.day import log_of
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Task

FORTNIGHT, EIGHT_WEEKS = 14, 56

Column = npt.NDArray[np.float64]


def recent_signs(timeline: Timeline, records: Records) -> pd.DataFrame:
    """Count recent signs by family, from what is dated up to the as-of day.

    Parameters
    ----------
    timeline : Timeline
        Gives the as-of day, skin events and dressing intervals.
    records : Records
        The records it was made from.

    Returns
    -------
    DataFrame
        One row a family of `FAMILIES`, in its order, as float64 with nan for none:

        - `days_since_finding`: days since the newest skin finding of a line at home.
        - `spoiled_recently`, `spoiled_often`: dressings of lines at home reported loose, damp or
          soiled in the last `FORTNIGHT` and `EIGHT_WEEKS` days.
        - `days_since_new_caregiver`: days since somebody's first entry in the family's log.

    *Source:* project definition, definitions §8 (backtest).
    """
    lines, n = timeline.lines, len(timeline.families)
    now = pd.Timestamp(timeline.as_of)
    here = lines["at_home"].to_numpy(dtype=bool)
    family = lines["family"].to_numpy(dtype=np.int64)

    def newest(of: npt.NDArray[np.int64], days: Column) -> Column:
        """By family, the fewest of the days ago; nan: none."""
        out = np.full(n, np.inf)
        np.minimum.at(out, of, days)
        return np.where(np.isinf(out), np.nan, out)

    skin = timeline.skin_events
    skin = skin[here[skin["line"].to_numpy()]]
    found = (now - skin["last_on"]).dt.days.to_numpy(dtype=np.float64)
    spans = timeline.intervals
    reported = (spans["task"] == Task.DRESSING) & spans["reported_on"].notna()
    spans = spans[reported.to_numpy(dtype=bool) & here[spans["line"].to_numpy()]]
    ago = (now - spans["reported_on"]).dt.days.to_numpy()
    owner = family[spans["line"].to_numpy()]
    begun = _first_entries(timeline, records)
    return pd.DataFrame(
        {
            "days_since_finding": newest(family[skin["line"].to_numpy()], found),
            "spoiled_recently": np.bincount(owner[ago < FORTNIGHT], minlength=n).astype(float),
            "spoiled_often": np.bincount(owner[ago < EIGHT_WEEKS], minlength=n).astype(float),
            "days_since_new_caregiver": newest(*begun),
        },
        index=timeline.families["family"].to_numpy(),
    )


def _first_entries(timeline: Timeline, records: Records) -> tuple[npt.NDArray[np.int64], Column]:
    """Family and days since the first entry of each caregiver whose family is known."""
    now = pd.Timestamp(timeline.as_of)
    log = log_of(timeline, records)
    named = (log["caregiver_id"].notna() & (log["done_on"] <= now)).to_numpy(dtype=bool)
    log = log.loc[named, ["family_id", "caregiver_id", "done_on"]]
    # Before: one row an entry; after: one row a family and caregiver.
    first = log.groupby(["family_id", "caregiver_id"], observed=True, sort=False)["done_on"].min()
    place = pd.Index(timeline.families["family_id"]).get_indexer(
        first.index.get_level_values("family_id")
    )
    days = (now - first).dt.days.to_numpy(dtype=np.float64)
    return place[place >= 0].astype(np.int64), days[place >= 0]
