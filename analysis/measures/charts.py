"""Is the rate of an event drifting, or do some groups differ from the rest?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.measures.completeness import provisional_rates
from analysis.measures.counts import (
    MeasureError,
    family_counts,
    is_judged,
)
from analysis.measures.snapshot_data import SnapshotData
from analysis.stats.charts import u_chart
from analysis.stats.dispersion import (
    ChartDispersion,
    chart_dispersion,
)
from analysis.stats.false_alarms import false_alarm_rate
from analysis.stats.intervals import exact_rate_interval
from analysis.tables.measures import RATE_CHART
from analysis.vocabulary import Basis, Grouping


def rate_chart(
    data: SnapshotData, event: str, by: Grouping, basis: Basis, baseline: int | None = None
) -> pd.DataFrame:
    """Control chart of the rate by month or quarter, with what is provisional and not judged.

    Limits are about the rate over the days on which the event could be known: heard line-days
    for an event that only home logs report, all home line-days for one the clinic confirms.

    Parameters
    ----------
    data : SnapshotData
        As of a day, known at a time.
    event, basis
        As for `rates`.
    by : Grouping
        Month or quarter.
    baseline : int or None
        Centre and limits come from the first so many settled periods; None: from all of them.

    Returns
    -------
    DataFrame
        RATE_CHART. Periods without home line-days are not there. Provisional periods and those
        with a log coverage below the policy's `coverage_floor` are in no centre; a provisional
        one may be above the upper limit, one with low coverage gives no signal.

    Raises
    ------
    MeasureError
        The event is not known, the grouping is no period, or the baseline is longer than the
        chart.

    *Source:* definitions §5; limits as `stats.charts` and `stats.dispersion` describe.
    """
    if by not in (Grouping.MONTH, Grouping.QUARTER):
        raise MeasureError(f"a chart goes by month or by quarter, not by {by}.")
    table = provisional_rates(data, event, by, basis)
    check_baseline(baseline, len(table), "periods")
    if not len(table):
        return RATE_CHART.empty()
    judged = is_judged(table, event, data.tallies)
    settled = ~table["provisional"].to_numpy(dtype=bool)
    usable = judged & settled
    base = usable if baseline is None else usable & (np.cumsum(usable) <= baseline)
    spread = _dispersion(data, event, by, basis, table.loc[base, "group"])
    found = u_chart(
        table["events"].to_numpy(),
        table["judged_days"].to_numpy(),
        baseline=baseline,
        settled=settled,
        judged=judged,
        dispersion=spread.over(base),
        centre_error=0.0 if baseline is None else spread.centre_error,
        independent=spread.independent,
    )
    exact = exact_rate_interval(table["events"].to_numpy(), table["line_days"].to_numpy())
    # What is expected is stated over the same days as the limits.
    share = table["line_days"] / table["judged_days"].where(table["judged_days"] > 0)
    for name in ("expected_rate_per_1000", "expected_lower", "expected_upper"):
        table[name] = table[name] * share
    table = table.rename(columns={"group": "period"}).assign(
        rate_per_1000=exact.rate_per_1000,
        lower=exact.lower,
        upper=exact.upper,
        judged_rate_per_1000=found.rate_per_1000,
        centre=found.centre,
        lower_limit=found.lower_limit,
        upper_limit=found.upper_limit,
        signal=signal_words(found.signals, len(table)),
        judged=judged,
        in_baseline=found.in_baseline,
        dispersion=spread.over(base) if found.in_baseline.any() else np.nan,
    )
    return RATE_CHART.check(table)


def chart_false_alarms(
    data: SnapshotData, event: str, by: Grouping, basis: Basis, baseline: int | None = None
) -> float:
    """Share of charts with a false signal, of steady programmes with this one's own data.

    Parameters
    ----------
    data, event, by, basis, baseline
        As for `rate_chart`.

    Returns
    -------
    float
        0 to 1, of charts with as many settled and judged periods; nan where there is no chart.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* simulation as `stats.false_alarms` describes.
    """
    table = provisional_rates(data, event, by, basis)
    usable = is_judged(table, event, data.tallies) & ~table["provisional"].to_numpy(dtype=bool)
    units = family_counts(data.tallies, event, by, basis)
    at = pd.Index(table["group"][usable]).get_indexer(pd.Index(units["group"]))
    units, at = units[at >= 0], at[at >= 0]
    return false_alarm_rate(
        units["events"], units["judged_days"], units["family"], at, baseline=baseline
    )


def _dispersion(
    data: SnapshotData, event: str, by: Grouping, basis: Basis, baseline: pd.Series[str]
) -> ChartDispersion:
    """How far the counts of a baseline's periods vary beyond chance."""
    units = family_counts(data.tallies, event, by, basis)
    at = pd.Index(baseline).get_indexer(pd.Index(units["group"]))
    units, at = units[at >= 0], at[at >= 0]
    return chart_dispersion(units["events"], units["judged_days"], units["family"], at)


def check_baseline(baseline: int | None, length: int, what: str) -> None:
    """Refuse a baseline longer than the chart."""
    if baseline is not None and baseline > length:
        raise MeasureError(f"the baseline has {baseline} {what}, but there are only {length}.")


def signal_words(signals: Mapping[Any, npt.NDArray[np.bool_]], length: int) -> pd.Series[str]:
    """Name the rules that each point breaks, joined by semicolons; missing: none."""
    words = np.full(length, "", dtype=object)
    for rule, broken in signals.items():
        joint = np.where(words == "", "", ";")
        words = np.where(broken, words + joint + str(rule), words)
    return pd.Series(words, dtype="string").replace("", None)
