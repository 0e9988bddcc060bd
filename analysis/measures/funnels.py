"""Do some groups differ from the rest by more than chance?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.measures.counts import counts, family_counts, is_judged
from analysis.stats.dispersion import group_dispersion_of_families
from analysis.stats.funnel import Funnel, funnel, overdispersed_funnel
from analysis.stats.intervals import exact_rate_interval
from analysis.tables.measures import FUNNEL
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping

LEAGUE_TABLE_CAUTION = (
    "A funnel shows which groups differ by more than chance; it does not rank them. Groups "
    "inside the limits show no clear difference, and one outside is a reason to look, "
    "not a verdict."
)


def group_funnel(
    tallies: Tallies, event: str, by: Grouping, basis: Basis, *, allow_for_differences: bool = False
) -> pd.DataFrame:
    """Rate of each group against the common rate, with 95 and 99.8 % limits.

    Limits are adjusted for families that differ: a few families with most of the events put a
    group outside limits of independent events far too often.

    Parameters
    ----------
    tallies, event, basis
        As for `rates`; give `settled_tallies`.
    by : Grouping
        Site, nurse or another grouping of lines.
    allow_for_differences : bool
        Widen the limits further by the differences that groups show beyond their families.

    Returns
    -------
    DataFrame
        FUNNEL; groups that were not recorded are left out. One with too low a log coverage has
        no limits and is not in the centre. Read it with LEAGUE_TABLE_CAUTION.

    *Source:* as `stats.funnel` describes; dispersion as `stats.dispersion`.
    """
    table = counts(tallies, event, by, basis).dropna(subset="group").reset_index(drop=True)
    judged = is_judged(table, event, tallies)
    units = family_counts(tallies, event, by, basis)
    at = pd.Index(table.loc[judged, "group"]).get_indexer(pd.Index(units["group"]))
    units, at = units[at >= 0], at[at >= 0]
    spread = group_dispersion_of_families(units["events"], units["judged_days"], at)
    counted = table["judged_days"].where(judged, 0).to_numpy(dtype=np.int64)
    events = table["events"].where(judged, 0).to_numpy(dtype=np.int64)
    limits = overdispersed_funnel if allow_for_differences else funnel
    found: Funnel = limits(
        events, counted, dispersion=spread.dispersion, families=max(2, spread.families)
    )
    all_days, known = (
        exact_rate_interval(table["events"].to_numpy(), table["line_days"]),
        (exact_rate_interval(table["events"].to_numpy(), table["judged_days"])),
    )
    table = table.assign(
        rate_per_1000=all_days.rate_per_1000,
        judged_rate_per_1000=known.rate_per_1000,
        centre=found.centre,
        lower_95=found.lower_95,
        upper_95=found.upper_95,
        lower_998=found.lower_998,
        upper_998=found.upper_998,
        judged=judged,
        dispersion=spread.dispersion,
    )
    return FUNNEL.check(table)
