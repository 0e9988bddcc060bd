"""Which families are past the time for which a programme keeps their records?"""

from __future__ import annotations

from datetime import date

import pandas as pd

from analysis.tables.columns import Frame

PAST_RETENTION = Frame.of(
    "past_retention",
    "one row a family whose records are past the programme's time of retention, longest first",
    "family_id site last_day keep_until",
    key="family_id",
)


def past_retention(lines: pd.DataFrame, years: int, as_of: date) -> pd.DataFrame:
    """Families whose last line ended more than so many years before a day.

    Parameters
    ----------
    lines : DataFrame
        One row a line in force, as in `Records.lines`.
    years : int
        Years after the last day for which records are kept.
    as_of : date
        The day viewed.

    Returns
    -------
    DataFrame
        Columns of `PAST_RETENTION`. A family with a line that is still followed is not in it.
    """
    ended = lines[["removed_on", "left_on"]].min(axis="columns")
    of_family = lines["family_id"].astype("object")
    last = ended.groupby(of_family).max()
    followed = ended.isna().groupby(of_family).any()
    last = last[~followed]
    keep_until = last + pd.DateOffset(years=years)
    past = (keep_until < pd.Timestamp(as_of)).to_numpy(dtype=bool)
    site = lines.groupby(of_family)["site"].last()
    found = pd.DataFrame(
        {
            "family_id": last.index,
            "site": site.reindex(last.index).to_numpy(),
            "last_day": last.to_numpy(),
            "keep_until": keep_until.to_numpy(),
        }
    )[past]
    return found.sort_values(["last_day", "family_id"], ignore_index=True)
