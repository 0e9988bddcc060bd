"""How complete is each month or quarter, by the reporting delay of the event itself?

Skin events and findings are reported by home logs, so their delay is that of log entries;
a confirmed outcome has its own, from onset to receipt. Where a delay is not known, a period is
never called complete.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import dates_of, day_number, days_of
from analysis.measures.counts import counts, is_logged_at_home
from analysis.measures.grouping import group_of
from analysis.measures.snapshot_data import SnapshotData, once, unless_same
from analysis.stats.delays import DelayTriangle, delay_triangle
from analysis.stats.intervals import PER
from analysis.stats.period_nowcast import nowcast_periods
from analysis.tables.statistics import PROVISIONAL_RATES
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping

SETTLED = 0.95
"""A week or period less complete than this is provisional."""
FEWEST_REPORTS = 10
"""With fewer reports their delay is not known."""

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class DelayWindow:
    """How far back reports are read, and up to which delay."""

    days: int
    longest: int
    """Later reports count with this delay."""


LOG_DELAYS = DelayWindow(182, 56)
OUTCOME_DELAYS = DelayWindow(730, 180)


class DataStatus(StrEnum):
    """How final a period is."""

    COMPLETE = "complete"
    PROVISIONAL = "provisional"
    """Late reports are still expected."""
    NOT_OVER = "not_over"
    NOT_KNOWN = "not_known"
    """The reporting delay is not known."""


def provisional_rates(data: SnapshotData, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    """Rate by month or quarter with what is expected still to come, recent ones provisional.

    A period is as complete as the reports of its days, by the delay of the event's own reports.
    Rows loaded as history, or all on one day, show no reporting delay and are left out.

    Parameters
    ----------
    data : SnapshotData
        As of a day, known at a time.
    event, by, basis
        As for `rates`; month or quarter.

    Returns
    -------
    DataFrame
        PROVISIONAL_RATES. Where the delay is not known, completeness and what is expected are
        missing, and a period is provisional until its days are older than the longest delay.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* definitions §5; limits as `stats.period_nowcast` describes.
    """
    question = ("provisional rates", event, by, basis)
    return once(data, question, lambda: _provisional(data, event, by, basis)).copy()


def _provisional(data: SnapshotData, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    table = counts(data.tallies, event, by, basis)
    window = LOG_DELAYS if is_logged_at_home(event) else OUTCOME_DELAYS
    by_age = once(data, ("days by age", by, window), lambda: _days_by_age(data, by, window))
    ages = by_age.reindex(table["group"], fill_value=0).to_numpy(np.int64)
    reports = "log" if is_logged_at_home(event) else event
    triangle = once(data, ("delays", reports), lambda: _triangle(data, event, window))
    asked = (triangle.reports, triangle.observable, table["events"].to_numpy(), ages)
    found = unless_same(
        data.found_of,
        ("nowcast", event, by, basis),
        asked,
        lambda: nowcast_periods(triangle, table["events"].to_numpy(), ages),
    )
    share = found.completeness
    not_over = (table["group"] == _period_of_as_of(data, by)).to_numpy(dtype=bool)
    recent = ages[:, :-1].sum(axis=1) > 0
    unsettled = np.where(np.isnan(share), recent, share < SETTLED) | not_over
    status = np.select(
        [not_over, np.isnan(share), unsettled],
        [DataStatus.NOT_OVER, DataStatus.NOT_KNOWN, DataStatus.PROVISIONAL],
        DataStatus.COMPLETE,
    )
    days = table["line_days"].where(table["line_days"] > 0)
    table = table.assign(
        completeness=share,
        expected_events=found.expected_total,
        expected_rate_per_1000=PER * found.expected_total / days,
        expected_lower=PER * found.lower / days,
        expected_upper=PER * found.upper / days,
        provisional=unsettled,
        not_over=not_over,
        data_status=pd.Series(status, index=table.index, dtype="string"),
    )
    return PROVISIONAL_RATES.check(table)


def settled_tallies(data: SnapshotData, event: str) -> Tallies:
    """Tallies of the months that late reports of an event can no longer change.

    Parameters
    ----------
    data : SnapshotData
        As of a day, known at a time.
    event : str
        ``skin``, a finding code or an outcome.

    Returns
    -------
    Tallies
        Those of `data` without provisional months: what trends, comparisons and funnels use.

    *Source:* definitions §5.
    """
    return once(data, ("settled tallies", event), lambda: _settled_tallies(data, event))


def _settled_tallies(data: SnapshotData, event: str) -> Tallies:
    months = provisional_rates(data, event, Grouping.MONTH, Basis.LINE)
    known = months.loc[~months["provisional"].to_numpy(dtype=bool), "group"].tolist()
    settled = np.array(known, dtype="datetime64[M]")
    tallies = data.tallies

    def kept(cells: pd.DataFrame, on: str) -> pd.DataFrame:
        return cells[np.isin(cells[on].to_numpy().astype("datetime64[M]"), settled)]

    return replace(
        tallies,
        days=kept(tallies.days, "month"),
        events=kept(tallies.events, "month"),
        onsets=kept(tallies.onsets, "onset_on"),
    )


def _period_of_as_of(data: SnapshotData, by: Grouping) -> str:
    """The period of the as-of day: the one that is not over."""
    day = data.as_of
    if by is Grouping.MONTH:
        return f"{day:%Y-%m}"
    return f"{day.year}-Q{(day.month + 2) // 3}"


def _days_by_age(data: SnapshotData, by: Grouping, window: DelayWindow) -> pd.DataFrame:
    """Days of each period before the as-of day, by the longest delay that can be known."""
    first = data.tallies.days["month"].min()
    as_of, known = day_number(data.as_of), day_number(data.known_on)
    start = as_of if pd.isna(first) else day_number(first.date())
    day = np.arange(start, as_of, dtype=np.int64)
    age = np.clip(known - day, 0, window.longest)
    period = group_of(pd.DataFrame({"month": dates_of(day)}), data.tallies.lines, by)
    counted = pd.crosstab(period.to_numpy(dtype=object), age)
    return counted.reindex(columns=range(window.longest + 1), fill_value=0)


def _triangle(data: SnapshotData, event: str, window: DelayWindow) -> DelayTriangle:
    """Reports of the last days by the day they speak of and their delay; too few: none."""
    end = day_number(data.known_on) + 1
    done, came = _reports(data, event)
    delay = np.maximum(came - done, 0)
    day = done - (end - window.days)
    seen = (day >= 0) & (done < end) & (came < end) & ~_is_history(came, delay, window.longest)
    if np.count_nonzero(seen) < FEWEST_REPORTS:
        seen = np.zeros(len(day), dtype=bool)
    late = np.minimum(delay[seen], window.longest)
    return delay_triangle(day[seen], late, origins=window.days, delays=window.longest + 1)


def _reports(data: SnapshotData, event: str) -> tuple[Ints, Ints]:
    """Day of each report that shows the event and the day of its receipt, where that is known."""
    if is_logged_at_home(event):
        rows, on = data.records.home_log, "done_on"
        reported = ~data.records.is_assumed("home_log")
    else:
        rows, on = data.records.outcomes, "onset_on"
        reported = ~data.records.is_assumed("outcomes")
        reported &= (rows["outcome"] == event).to_numpy(dtype=bool)
    reported &= rows[on].notna().to_numpy(dtype=bool)
    received = rows["received_at"][reported]
    received = received.dt.tz_localize("UTC").dt.tz_convert(data.policy.zone)
    return days_of(rows[on][reported]), days_of(received.dt.tz_localize(None))


def _is_history(came: Ints, delay: Ints, longest: int) -> npt.NDArray[np.bool_]:
    """Reports received on a day on which most were older than the longest delay.

    That is a history loaded in one go, which shows nothing of delays.
    """
    day = came - came.min(initial=0)
    days = int(day.max(initial=-1)) + 1
    old = np.bincount(day[delay > longest], minlength=days)
    return np.asarray((2 * old > np.bincount(day, minlength=days))[day])
