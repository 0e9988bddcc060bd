"""On how many home line-days was the family heard from, so that an event could be known?"""

from __future__ import annotations

import pandas as pd

from analysis.measures.counts import dressing_cells, grouped
from analysis.measures.grouping import in_group_order
from analysis.measures.snapshot_data import SnapshotData, once
from analysis.tables.columns import Frame
from analysis.tallies import Tallies
from analysis.tallies.pieces import days_of_family
from analysis.timeline.axis import Spans
from analysis.timeline.families import heard_spans
from analysis.vocabulary import Grouping

COVERAGE = Frame.of(
    "coverage",
    "one row a group with home line-days",
    "group home_line_days heard_days log_coverage",
    key="group",
    blank={"group": "not recorded", "log_coverage": "no line-day"},
)


def heard_days(data: SnapshotData) -> Spans:
    """Days of each line on which its family was not silent, found once for a snapshot.

    *Source:* project definition, definitions §4.
    """

    def find() -> Spans:
        coded = data.counted_timeline.coded
        return days_of_family(coded, heard_spans(coded, data.policy))

    return once(data, "heard days", find)


def log_coverage(tallies: Tallies, by: Grouping) -> pd.DataFrame:
    """Share of home line-days on which the family was not silent, by group.

    Parameters
    ----------
    tallies : Tallies
        Additive counts.
    by : Grouping
        How to split.

    Returns
    -------
    DataFrame
        COVERAGE, in order of the group.

    *Source:* project definition, definitions §4.
    """
    days, group = dressing_cells(tallies), grouped(tallies, by)
    sums = {name: group.sum_of_days(days[name]) for name in ("home_line_days", "heard_days")}
    table = pd.DataFrame({"group": group.names, **sums})
    table = table[table["home_line_days"] > 0]
    table = table.assign(log_coverage=table["heard_days"] / table["home_line_days"])
    bands = list(tallies.days["age_band"].cat.categories) if by is Grouping.AGE_BAND else None
    return COVERAGE.check(in_group_order(table, bands))
