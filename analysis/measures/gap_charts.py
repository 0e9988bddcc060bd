"""Are rare events coming closer together, and how long has the programme been without one?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import dates_of, day_number, days_of
from analysis.measures.charts import check_baseline, signal_words
from analysis.measures.completeness import provisional_rates
from analysis.measures.counts import check_event, is_logged_at_home
from analysis.measures.coverage import heard_days
from analysis.measures.snapshot_data import SnapshotData, once
from analysis.stats.day_gaps import GapRule, day_gap_chart
from analysis.stats.gaps import open_gap
from analysis.stats.intervals import exact_rate_interval
from analysis.tables.measures import GAP_CHART
from analysis.tallies.pieces import days_of_child
from analysis.tallies.steps import counted_periods
from analysis.timeline.axis import Spans, without
from analysis.vocabulary import Basis, ChartKind, Grouping


def gap_chart(
    data: SnapshotData,
    event: str,
    basis: Basis,
    kind: ChartKind,
    baseline: int | None = None,
) -> pd.DataFrame:
    """Control chart of the gaps between events, for rare ones.

    Parameters
    ----------
    data : SnapshotData
        As of a day, known at a time; with tallies of some lines, only their days count.
    event, basis
        As for `rates`.
    kind : ChartKind
        ``t``: calendar days between onsets; ``g``: line-days between them on which the event could
        be known, so that a programme that grows does not look worse.
    baseline : int or None
        Centre and limits come from the first so many gaps; None: from all.

    Returns
    -------
    DataFrame
        GAP_CHART, one row a gap, named by the day of the event that ended it (a second of the same
        day is numbered). The gap before the first event is not known to be whole and is left
        out. `line_days` are the judged line-days of the gap. Signals are those of
        `stats.day_gaps`: `too_short` is bad news, `long_without_event` good news, which a
        provisional period does not give.

    Raises
    ------
    MeasureError
        The event is not known, or the baseline is longer than the chart.

    *Source:* as `stats.day_gaps` describes.
    """
    onset = _onsets(data, event)
    if len(onset) < 2:
        return GAP_CHART.empty()
    before, after = _judged_days_before(data, event, basis, np.stack([onset, onset + 1]))
    line_days = np.diff(before)
    gaps, width = (
        (np.diff(onset), np.ones(len(onset), dtype=np.int64))
        if kind is ChartKind.T
        else (line_days, np.maximum(after - before, 1))
    )
    check_baseline(baseline, len(gaps), "gaps")
    found = day_gap_chart(gaps, width[:-1], width[1:], baseline=baseline)
    months = provisional_rates(data, event, Grouping.MONTH, basis)
    settled = set(months.loc[~months["provisional"].to_numpy(dtype=bool), "group"])
    ends = pd.Series(dates_of(onset[1:]))
    final = ends.dt.strftime("%Y-%m").isin(settled).to_numpy(dtype=bool)
    good = (GapRule.LONG_WITHOUT_EVENT, GapRule.RUN_OF_LONG)
    signals = {
        rule: broken & (final | (rule not in good)) for rule, broken in found.signals.items()
    }
    ends = ends.dt.strftime("%Y-%m-%d")
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
            "signal": signal_words(signals, len(gaps)),
            "gap": gaps,
        }
    )
    return GAP_CHART.check(table)


def _judged_days_before(
    data: SnapshotData, event: str, basis: Basis, day: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """Counted line-days before each day on which the event could be known."""
    logged = is_logged_at_home(event)
    spans = once(data, ("judged days", basis, logged), lambda: _judged(data, basis, logged=logged))
    axis = data.counted_timeline.coded.axis
    total = np.zeros(day.shape, dtype=np.int64)
    # Before: one row a span; after: its days before each wanted day, summed over spans.
    for sign, edge in ((1, np.sort(axis.day(spans.start))), (-1, np.sort(axis.day(spans.end)))):
        sums = np.concatenate(([0], np.cumsum(edge)))
        passed = np.searchsorted(edge, day, side="left")
        total += sign * (passed * day - sums[passed])
    return total


def _judged(data: SnapshotData, basis: Basis, *, logged: bool) -> Spans:
    """Counted days on which an event could be known; `logged`: of one that families log."""
    coded = data.counted_timeline.coded
    axis, lines = coded.axis, coded.lines
    spans = counted_periods(coded, data.tallies)
    if basis is Basis.CHILD:
        owned = days_of_child(axis, lines, coded.home.periods)
        spans = without(spans, without(spans, owned))
    if logged:
        spans = without(spans, without(spans, heard_days(data)))
    return spans


@dataclass(frozen=True)
class Wait:
    """How long it has been without an event."""

    since_last: int
    """Days or judged line-days since the last event, or since the first day without one."""
    chance: float
    """Of a wait as long or longer at the earlier rate; nan where that is not known."""
    rate_upper: float
    """Upper 95 % limit of the rate since, events per unit of the wait; inf on the same day."""


def since_last_event(data: SnapshotData, event: str, basis: Basis, kind: ChartKind) -> Wait:
    """Days or line-days since the last event, against the gaps before it.

    Parameters
    ----------
    data, event, basis, kind
        As for `gap_chart`.

    Returns
    -------
    Wait
        Without an event: since the first home line-day, with a chance that is not known.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* as `stats.gaps` describes.
    """
    onset = _onsets(data, event)
    as_of = day_number(data.as_of)
    coded = data.counted_timeline.coded
    counted = counted_periods(coded, data.tallies)
    first = coded.axis.day(counted.start).min(initial=as_of)
    at = np.append(onset, as_of) if len(onset) else np.array([first, as_of])
    gaps = np.diff(at if kind is ChartKind.T else _judged_days_before(data, event, basis, at))
    found = open_gap(int(gaps[-1]), gaps[:-1])
    return Wait(int(gaps[-1]), found.p_as_long, found.rate_upper)


def _onsets(data: SnapshotData, event: str) -> npt.NDArray[np.int64]:
    """Days of onset of the events at home, in order."""
    tallies = data.tallies
    check_event(tallies, event)
    ours = (tallies.onsets["event"] == event) & tallies.onsets["at_home"]
    return np.sort(days_of(tallies.onsets.loc[ours.to_numpy(dtype=bool), "onset_on"]))
