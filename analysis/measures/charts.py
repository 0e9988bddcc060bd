"""Is the rate of an event drifting, or do some groups stand apart from the rest?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.measures.counts import MeasureError, counts
from analysis.stats.charts import Rule, u_chart
from analysis.stats.funnel import Funnel, funnel, overdispersed_funnel
from analysis.tables.measures import CHART, FUNNEL
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping

LEAGUE_TABLE_CAUTION = (
    "A funnel shows which groups differ by more than chance; it does not rank them. Groups "
    "inside the limits are not told apart by this data, and one outside is a reason to look, "
    "not a verdict."
)


def rate_chart(
    tallies: Tallies, event: str, by: Grouping, basis: Basis, baseline: int | None = None
) -> pd.DataFrame:
    """Control chart of the rate by month or quarter, with exact Poisson limits.

    Parameters
    ----------
    tallies, event, basis
        As for `rates`.
    by : Grouping
        Month or quarter.
    baseline : int or None
        Centre and limits come from the first so many periods; None: from all of them.

    Returns
    -------
    DataFrame
        CHART. Periods without home line-days are not there. The last period may not be over:
        entries still to come would raise it.

    Raises
    ------
    MeasureError
        The grouping is no period, or the baseline is longer than the chart.

    *Source:* as `stats.charts` says.
    """
    if by not in (Grouping.MONTH, Grouping.QUARTER):
        raise MeasureError(f"a chart goes by month or by quarter, not by {by}.")
    table = counts(tallies, event, by, basis)
    _check_baseline(baseline, len(table), "periods")
    found = u_chart(table["events"].to_numpy(), table["line_days"].to_numpy(), baseline=baseline)
    table = table.rename(columns={"group": "period"}).assign(
        rate_per_1000=found.rate_per_1000,
        centre=found.centre,
        lower_limit=found.lower_limit,
        upper_limit=found.upper_limit,
        signal=signal_words(found.signals, len(table)),
    )
    return CHART.check(table)


def _check_baseline(baseline: int | None, length: int, what: str) -> None:
    if baseline is not None and baseline > length:
        raise MeasureError(f"the baseline has {baseline} {what}, but there are only {length}.")


def signal_words(signals: Mapping[Rule, npt.NDArray[np.bool_]], length: int) -> pd.Series[str]:
    """Name the rules that each point breaks, joined by semicolons; missing: none."""
    words = np.full(length, "", dtype=object)
    for rule, broken in signals.items():
        joint = np.where(words == "", "", ";")
        words = np.where(broken, words + joint + str(rule), words)
    return pd.Series(words, dtype="string").replace("", None)


def group_funnel(
    tallies: Tallies, event: str, by: Grouping, basis: Basis, *, allow_for_differences: bool
) -> pd.DataFrame:
    """Rate of each group against the common rate, with 95 and 99.8 % limits.

    Parameters
    ----------
    tallies, event, basis
        As for `rates`.
    by : Grouping
        Site, nurse or another grouping of lines.
    allow_for_differences : bool
        Widen the limits by the differences that groups show beyond chance.

    Returns
    -------
    DataFrame
        FUNNEL; groups that were not recorded are left out. Read it with LEAGUE_TABLE_CAUTION.

    *Source:* as `stats.funnel` says.
    """
    table = counts(tallies, event, by, basis).dropna(subset="group").reset_index(drop=True)
    limits = overdispersed_funnel if allow_for_differences else funnel
    found: Funnel = limits(table["events"].to_numpy(), table["line_days"].to_numpy())
    table = table.assign(
        rate_per_1000=found.rate_per_1000,
        centre=found.centre,
        lower_95=found.lower_95,
        upper_95=found.upper_95,
        lower_998=found.lower_998,
        upper_998=found.upper_998,
    )
    return FUNNEL.check(table)
