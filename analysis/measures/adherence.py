"""How often is care done on time, and how many home line-days are in date?"""

from __future__ import annotations

import pandas as pd

from analysis.measures.grouping import group_of, in_group_order
from analysis.stats.bootstrap import cluster_share_interval
from analysis.tables.measures import ADHERENCE
from analysis.tallies import Tallies
from analysis.vocabulary import Grouping, Task

_SUMS = [
    "home_line_days",
    "heard_days",
    "intervals_scored",
    "intervals_on_time",
    "in_date_days",
    "out_of_date_days",
]


def adherence(tallies: Tallies, by: Grouping, task: Task) -> pd.DataFrame:
    """On-time share and in-date share by group, with limits that resample families.

    Parameters
    ----------
    tallies : Tallies
        Additive counts.
    by : Grouping
        How to split.
    task : Task
        Whose intervals and days.

    Returns
    -------
    DataFrame
        ADHERENCE, in order of the group. A share without a denominator is missing.

    *Source:* project definition, definitions §3; the in-date share is the care-task twin of
    the proportion of days covered.
    """
    days = tallies.days[tallies.days["task"] == task]
    family = tallies.lines["family"].to_numpy()[days["line"].to_numpy()]
    line_id = tallies.lines["line_id"].array.take(days["line"])
    days = days.assign(group=group_of(days, tallies.lines, by), family=family, line_id=line_id)
    days = days[(days["home_line_days"] > 0) | (days["intervals_scored"] > 0)]
    by_group = days.groupby("group", dropna=False)
    table = by_group[_SUMS].sum().reset_index()
    at_home = days[days["home_line_days"] > 0].groupby("group", dropna=False)
    counts = at_home.agg(families=("family", "nunique"), lines=("line_id", "nunique")).reset_index()
    table = table.merge(counts, on="group", how="left").fillna({"families": 0, "lines": 0})
    # Before: one row a tally cell; after: one row a group and family, the unit that is resampled.
    units = days.groupby(["group", "family"], dropna=False)[_SUMS].sum().reset_index()
    days_scored = units["in_date_days"] + units["out_of_date_days"]
    code = pd.Index(table["group"]).get_indexer(units["group"])
    shares = (
        ("on_time", units["intervals_on_time"], units["intervals_scored"]),
        ("in_date", units["in_date_days"], days_scored),
    )
    for name, hits, of in shares:
        found = cluster_share_interval(hits.to_numpy(), of.to_numpy(), code, n_groups=len(table))
        table[f"{name}_share"] = found.share
        table[f"{name}_lower"], table[f"{name}_upper"] = found.lower, found.upper
    whole = table["home_line_days"].where(table["home_line_days"] > 0)
    table["log_coverage"] = table["heard_days"] / whole
    bands = list(tallies.days["age_band"].cat.categories) if by is Grouping.AGE_BAND else None
    types = {c.name: c.dtype for c in ADHERENCE.columns}
    return ADHERENCE.check(in_group_order(table, bands).astype(types))
