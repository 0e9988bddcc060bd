"""How many lines are behind a curve of dwell time on a given day?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.tables.columns import Frame
from analysis.tables.measures import DWELL

AT_RISK = Frame(
    "at_risk",
    "one row a group and day since placement asked for",
    (DWELL["group"], DWELL["day"], DWELL["at_risk"]),
    key=("group", "day"),
)


def lines_at_risk(times: pd.DataFrame, days: Sequence[int]) -> pd.DataFrame:
    """Lines at risk on given days since placement; with delayed entry they may grow in number.

    Parameters
    ----------
    times : DataFrame
        LINE_TIMES, from `dwell.line_times`.
    days : sequence of int
        Days since placement; day 1 is the first on which an end can be seen.

    Returns
    -------
    DataFrame
        AT_RISK, in order of group and day, "not recorded" last.

    *Source:* project definition, definitions §6: at risk on day d when it came home before it
    and was last seen on it or later.
    """
    entry, leave = times["entry_day"].to_numpy(), times["exit_day"].to_numpy()
    # Before: one row a line; after: one row a group and day. The loop runs over the days asked.
    parts = [
        ((entry < day) & (day <= leave)).astype(np.int64)
        for day in np.asarray(days, dtype=np.int64)
    ]
    wide = pd.DataFrame(dict(zip(days, parts, strict=True)), index=times.index)
    summed = wide.groupby(times["group"], dropna=False).sum()
    table = summed.rename_axis("group").reset_index().melt("group", var_name="day", value_name="n")
    table = table.rename(columns={"n": "at_risk"}).astype({"group": "string", "day": "int64"})
    return AT_RISK.check(table.sort_values(["group", "day"], ignore_index=True))
