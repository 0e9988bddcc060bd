"""Is the rate of an event drifting, or do some groups differ from the rest?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import dates_of, days_of
from analysis.measures.completeness import provisional_rates
from analysis.measures.counts import (
    MeasureError,
    check_event,
    counts,
    family_counts,
    is_judged,
)
from analysis.measures.snapshot_data import SnapshotData
from analysis.stats.charts import Rule, u_chart
from analysis.stats.dispersion import (
    ChartDispersion,
    chart_dispersion,
    group_dispersion_of_families,
)
from analysis.stats.funnel import Funnel, funnel, overdispersed_funnel
from analysis.stats.gaps import g_chart, t_chart
from analysis.stats.intervals import exact_rate_interval
from analysis.tables.measures import CHART, FUNNEL, RATE_CHART
from analysis.tallies import Tallies
from analysis.timeline import Timeline
from analysis.timeline.axis import DAY_BITS, merged
from analysis.vocabulary import Basis, ChartKind, Grouping

LEAGUE_TABLE_CAUTION = (
    "A funnel shows which groups differ by more than chance; it does not rank them. Groups "
    "inside the limits show no clear difference, and one outside is a reason to look, "
    "not a verdict."
)


FAMILIES_DIFFER = 1.1
"""Variance over mean of family-periods above which a few families have most events."""


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
    _check_baseline(baseline, len(table), "periods")
    if not len(table):
        return RATE_CHART.empty()
    judged = is_judged(table, event, data.tallies)
    settled = ~table["provisional"].to_numpy(dtype=bool)
    spread = _dispersion(data, event, by, basis, table["group"], judged & settled, baseline)
    found = u_chart(
        table["events"].to_numpy(),
        table["judged_days"].to_numpy(),
        baseline=baseline,
        settled=settled,
        judged=judged,
        dispersion=spread.dispersion,
        centre_error=0.0 if baseline is None else spread.centre_error,
        runs=not spread.of_families > FAMILIES_DIFFER,
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
        dispersion=spread.dispersion if found.in_baseline.any() else np.nan,
    )
    return RATE_CHART.check(table)


def _dispersion(
    data: SnapshotData,
    event: str,
    by: Grouping,
    basis: Basis,
    periods: pd.Series[str],
    usable: npt.NDArray[np.bool_],
    baseline: int | None,
) -> ChartDispersion:
    """How far the counts of a baseline vary beyond chance, families being alike within."""
    chosen = usable if baseline is None else usable & (np.cumsum(usable) <= baseline)
    units = family_counts(data.tallies, event, by, basis)
    at = pd.Index(periods[chosen]).get_indexer(pd.Index(units["group"]))
    units, at = units[at >= 0], at[at >= 0]
    return chart_dispersion(units["events"], units["judged_days"], units["family"], at)


def gap_chart(
    timeline: Timeline,
    tallies: Tallies,
    event: str,
    basis: Basis,
    kind: ChartKind,
    baseline: int | None = None,
) -> pd.DataFrame:
    """Control chart of the gaps between events of the programme, for rare events.

    Parameters
    ----------
    timeline, tallies, event, basis
        As of a day.
    kind : ChartKind
        ``t``: calendar days between onsets; ``g``: home line-days between them, so that a
        programme that grows does not look worse.
    baseline : int or None
        Centre and limits come from the first so many gaps; None: from all.

    Returns
    -------
    DataFrame
        CHART, one row a gap, named by the day of the event that ended it (a second of the same
        day is numbered). The gap before the first event is not known to be whole and is left
        out. `line_days` are the home line-days of the gap; a gap above the upper limit is good.

    Raises
    ------
    MeasureError
        The event is not known, or the baseline is longer than the chart.

    *Source:* as `stats.gaps` describes.
    """
    check_event(tallies, event)
    ours = (tallies.onsets["event"] == event) & tallies.onsets["at_home"]
    onset = np.sort(days_of(tallies.onsets.loc[ours.to_numpy(dtype=bool), "onset_on"]))
    if len(onset) < 2:
        return CHART.empty()
    days_before = _line_days_before(timeline, tallies, onset, basis)
    line_days = np.diff(days_before)
    gaps = np.diff(onset) if kind is ChartKind.T else line_days
    _check_baseline(baseline, len(gaps), "gaps")
    found = (t_chart if kind is ChartKind.T else g_chart)(gaps, baseline=baseline)
    ends = pd.Series(dates_of(onset[1:])).dt.strftime("%Y-%m-%d")
    nth = ends.groupby(ends).cumcount()
    names = ends.where(nth == 0, ends + " no. " + (nth + 1).astype(str))
    events = np.ones(len(gaps), dtype=np.int64)
    table = pd.DataFrame(
        {
            "period": names.astype("string"),
            "events": events,
            "line_days": line_days,
            "rate_per_1000": exact_rate_interval(events, line_days).rate_per_1000,
            "centre": found.centre,
            "lower_limit": found.lower_limit,
            "upper_limit": found.upper_limit,
            "signal": signal_words(found.signals, len(gaps)),
        }
    )
    return CHART.check(table)


def _line_days_before(
    timeline: Timeline, tallies: Tallies, day: npt.NDArray[np.int64], basis: Basis
) -> npt.NDArray[np.int64]:
    """Home line-days of the programme before each day, on the basis asked for."""
    periods = timeline.home_spells
    start, end = days_of(periods["start_on"]), days_of(periods["end_on"])
    if basis is Basis.CHILD:
        # A child's periods side by side on one axis, joined where its lines overlap.
        child = pd.factorize(tallies.lines["child_id"])[0][periods["line"].to_numpy(dtype=np.int64)]
        joined = merged((child << DAY_BITS) + start, (child << DAY_BITS) + end)
        start, end = joined.start % (1 << DAY_BITS), joined.end % (1 << DAY_BITS)
    # Before: one row a period; after: its days before each wanted day, summed over periods.
    total = np.zeros(len(day), dtype=np.int64)
    for sign, edge in ((1, np.sort(start)), (-1, np.sort(end))):
        sums = np.concatenate(([0], np.cumsum(edge)))
        passed = np.searchsorted(edge, day, side="left")
        total += sign * (passed * day - sums[passed])
    return total


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
