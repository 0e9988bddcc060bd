"""To which group does each row of a tally belong?"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
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
    which, names = numbered_groups(tally, lines, by)
    return pd.Series(names.array.take(which, allow_fill=True), index=tally.index)


def numbered_groups(
    tally: pd.DataFrame, lines: pd.DataFrame, by: Grouping
) -> tuple[npt.NDArray[np.int64], pd.Series[str]]:
    """Number the group of each tally row; -1: not recorded.

    Parameters
    ----------
    tally, lines, by
        As for `group_of`.

    Returns
    -------
    tuple of array and Series
        The number of each row's group, and the name of each number.
    """
    if by is Grouping.ALL:
        return np.zeros(len(tally), dtype=np.int64), pd.Series(["all"], dtype="string")
    if by in (Grouping.DRESSING_TYPE, Grouping.AGE_BAND):
        column = tally[str(by)].cat
        which = np.asarray(column.codes, dtype=np.int64)
        return which, pd.Series(column.categories, dtype="string")
    # A tally has many rows, and few months and lines.
    if by in (Grouping.MONTH, Grouping.QUARTER):
        row, distinct = pd.factorize(tally["month"])
        month = pd.DatetimeIndex(distinct)
        text = month.strftime("%Y-%m")
        if by is Grouping.QUARTER:
            text = month.year.astype(str) + "-Q" + month.quarter.astype(str)
        which, names = pd.factorize(pd.Series(text, dtype="string"))
    else:
        row = tally["line"].to_numpy(dtype=np.int64)
        which, names = pd.factorize(lines[OF_THE_LINE[by]].astype("string"))
    return np.asarray(np.append(which, -1)[row], dtype=np.int64), pd.Series(names)


def in_group_order(frame: pd.DataFrame, bands: list[str] | None = None) -> pd.DataFrame:
    """Sort one-row-a-group frames by group, age bands by age, "not recorded" last."""
    if bands is not None:
        order = {band: at for at, band in enumerate(bands)}
        return frame.sort_values("group", key=lambda g: g.map(order), ignore_index=True)
    return frame.sort_values("group", ignore_index=True)
