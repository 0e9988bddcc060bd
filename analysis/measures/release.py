"""Which figures must be hidden in a table that leaves the team?

Counts from 1 to 10 are hidden, and further ones as long as a hidden one could be calculated
from the rest and the total; zero may be shown. A rate shown with its line-days gives its
count away, so it is hidden with it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.stats.small_cells import hidden_counts
from analysis.tables.columns import Frame
from analysis.tables.incoming import NOT_RECORDED

_HIDDEN = "hidden: a small count, or one that would give a small count away"

RELEASED_RATES = Frame.of(
    "released_rates",
    "one row a group",
    "group events line_days rate_per_1000 lower upper hidden",
    key="group",
    blank={"group": NOT_RECORDED, "events rate_per_1000 lower upper": _HIDDEN},
)


def for_release(rates: pd.DataFrame) -> pd.DataFrame:
    """Hide small counts of a table of rates before it leaves the team.

    Parameters
    ----------
    rates : DataFrame
        RATES, all groups of one split; their total is taken to be known elsewhere.

    Returns
    -------
    DataFrame
        RELEASED_RATES.

    *Source:* the small-cell rule as `stats.small_cells` describes.
    """
    hidden = hidden_counts(rates["events"].to_numpy()).counts
    shown = rates.assign(hidden=hidden, events=rates["events"].astype("Int64").mask(hidden))
    for name in ("rate_per_1000", "lower", "upper"):
        shown[name] = shown[name].mask(hidden, np.nan)
    return RELEASED_RATES.check(shown)
