"""To which group does each row of a tally belong?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analysis.vocabulary import Grouping

OF_THE_LINE = {
    Grouping.SITE: "site",
    Grouping.NURSE: "nurse",
    Grouping.LINE_TYPE: "line_type",
    Grouping.THERAPY: "therapy",
    Grouping.FAMILY: "family_id",
}
"""Groupings that are a column of the line."""


def group_of(tally: pd.DataFrame, lines: pd.DataFrame, by: Grouping) -> pd.Series[Any]:
    """Name the group of each tally row.

    Parameters
    ----------
    tally : DataFrame
        Rows with ``line``, ``month``, ``dressing_type`` and ``age_band``.
    lines : DataFrame
        HOME_LINES, in order of ``line``.
    by : Grouping
        Months read ``2031-03``, quarters ``2031-Q1``; otherwise the value as the files had it.

    Returns
    -------
    Series of text
        Missing where the value was not recorded.
    """
    if by is Grouping.ALL:
        return pd.Series("all", index=tally.index, dtype="string")
    if by in (Grouping.MONTH, Grouping.QUARTER):
        # A tally has many rows and few months.
        which, distinct = pd.factorize(tally["month"])
        month = pd.DatetimeIndex(distinct)
        if by is Grouping.MONTH:
            text = month.strftime("%Y-%m")
        else:
            text = month.year.astype(str) + "-Q" + month.quarter.astype(str)
        named = text.to_series().astype("string").array.take(which, allow_fill=True)
        return pd.Series(named, index=tally.index)
    if by in (Grouping.DRESSING_TYPE, Grouping.AGE_BAND):
        return tally[str(by)].astype("string")
    values = lines[OF_THE_LINE[by]].astype("string")
    return values.take(tally["line"].to_numpy(dtype=np.int64)).set_axis(tally.index)


def in_group_order(frame: pd.DataFrame, bands: list[str] | None = None) -> pd.DataFrame:
    """Sort one-row-a-group frames by group, age bands by age, "not recorded" last."""
    if bands is not None:
        order = {band: at for at, band in enumerate(bands)}
        return frame.sort_values("group", key=lambda g: g.map(order), ignore_index=True)
    return frame.sort_values("group", ignore_index=True)
