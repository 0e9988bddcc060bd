"""How many events has a line had on average by each day, when events come again and again?

Mean cumulative number of events with delayed entry, and errors clustered for lines and
families with many events. Unlike a curve of the first event it counts every one of them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.curve_limits import normal_quantile
from analysis.stats.day_table import (
    DayTable,
    Flags,
    Floats,
    Ints,
    check_times,
    day_table,
    same_length,
    whole_numbers,
)


@dataclass(frozen=True, eq=False)
class CountTable:
    """Counts of lines at risk and events by day since placement; tables add up with ``+``.

    `lines` has one cause column, unused: nobody leaves by an event. `events` has shape (n_days,),
    unit: events.
    """

    lines: DayTable
    events: Ints

    @classmethod
    def empty(cls) -> CountTable:
        """A table of no line: the start of a sum, ``sum(parts, CountTable.empty())``."""
        return cls(DayTable.empty(1), np.zeros(1, np.int64))

    def __add__(self, other: CountTable) -> CountTable:
        """The table of both sets of lines."""
        lines = self.lines + other.lines
        events = np.zeros(lines.n_days, np.int64)
        events[: len(self.events)] += self.events
        events[: len(other.events)] += other.events
        return CountTable(lines, events)

    @property
    def at_risk(self) -> Ints:
        """Lines at risk on each day, shape (n_days,)."""
        return self.lines.at_risk


@dataclass(frozen=True, eq=False)
class MeanCount:
    """Mean cumulative number of events by day, each shape (n,), day 0 first."""

    day: Ints
    """Day since placement."""
    at_risk: Ints
    """Lines at risk on that day, unit: lines."""
    events: Ints
    """Events on that day, unit: events."""
    mean: Floats
    """Mean number of events a line has had by the end of that day, unit: events a line."""
    std_error: Floats
    """Standard error with clusters kept whole; nan with one cluster or no event yet."""
    lower: Floats
    """Lower limit of the mean."""
    upper: Floats
    """Upper limit of the mean."""


def count_table(
    start_days: npt.ArrayLike, stop_days: npt.ArrayLike, event_days: npt.ArrayLike
) -> CountTable:
    """Count lines at risk and their events by day.

    Parameters
    ----------
    start_days, stop_days : array_like of int, shape (n_rows,)
        A line is at risk on ``start < day <= stop``, unit: days since placement. A line may have
        several rows that do not overlap, such as its periods at home.
    event_days : array_like of int, shape (n_events,)
        Day of each event, unit: days since placement.

    Returns
    -------
    CountTable
        Rows from day 0 to the last stop.

    Raises
    ------
    ValueError
        As in :func:`analysis.stats.day_table.day_table`, or an event on a day on which nobody
        was at risk: names its position.

    Examples
    --------
    >>> table = count_table([0, 0], [3, 5], [2, 2, 4])
    >>> table.at_risk.tolist(), table.events.tolist()
    ([0, 2, 2, 2, 1, 1], [0, 0, 2, 0, 1, 0])
    """
    nobody = np.zeros(np.size(np.asarray(start_days)), np.int64)
    lines = day_table(start_days, stop_days, nobody, n_causes=1)
    days = whole_numbers(event_days, "event_days")
    inside = (days >= 0) & (days < lines.n_days)
    seen = inside & (lines.at_risk[np.where(inside, days, 0)] > 0)
    if not seen.all():
        raise ValueError(f"an event on a day nobody was at risk; position {int(np.argmin(seen))}")
    return CountTable(lines, np.bincount(days, minlength=lines.n_days))


def cluster_squares(
    table: CountTable,
    start_days: npt.ArrayLike,
    stop_days: npt.ArrayLike,
    row_clusters: npt.ArrayLike,
    event_days: npt.ArrayLike,
    event_clusters: npt.ArrayLike,
) -> Floats:
    """Sum over clusters of the squared part each has in the error of the mean, by day.

    A second pass over the rows once the table of the whole is known. Parts of the programme with
    clusters kept whole may be passed one by one: their results add up.

    Parameters
    ----------
    table : CountTable
        Of the whole programme.
    start_days, stop_days : array_like of int, shape (n_rows,)
        Rows at risk, as in :func:`count_table`.
    row_clusters : array_like of int, shape (n_rows,)
        Family of the row (or line, where lines are independent), any whole numbers.
    event_days, event_clusters : array_like of int, shape (n_events,)
        Day of each event and the family it belongs to.

    Returns
    -------
    array of float, shape (n_days of the table,)
        Variance of the mean by day.

    Raises
    ------
    ValueError
        An event of a cluster that has no row at risk on its day, or as in :func:`count_table`.

    Notes
    -----
    *Source:* Lawless & Nadeau, Technometrics 37 (1995) 158 (from memory); the sum over clusters
    of ``(sum of Y_i / Y (dN_i - dM))**2`` as read in the R package reda, nonparametric_mcf.h.
    """
    start = whole_numbers(start_days, "start_days")
    stop = whole_numbers(stop_days, "stop_days")
    rows = whole_numbers(row_clusters, "row_clusters")
    days = whole_numbers(event_days, "event_days")
    owners = whole_numbers(event_clusters, "event_clusters")
    same_length(start_days=start, stop_days=stop, row_clusters=rows)
    same_length(event_days=days, event_clusters=owners)
    check_times(start, stop)
    known, codes = np.unique(np.concatenate((rows, owners)), return_inverse=True)
    row_code, event_code = codes[: len(rows)], codes[len(rows) :]
    _refuse_events_out_of_sight(start, stop, row_code, days, event_code, table.lines.n_days)

    # One element is one cluster; the loop goes over days with an event anywhere.
    part = np.zeros(len(known))
    at_risk = np.zeros(len(known))
    enters = _by_day(start, row_code)
    leaves = _by_day(stop, row_code)
    happens = _by_day(days, event_code)
    total_at_risk = table.at_risk
    squares = np.zeros(table.lines.n_days)
    entered_to = left_to = 0
    for day in np.flatnonzero(table.events):
        entered_from, entered_to = entered_to, int(np.searchsorted(enters[0], day))
        left_from, left_to = left_to, int(np.searchsorted(leaves[0], day))
        np.add.at(at_risk, enters[1][entered_from:entered_to], 1)
        np.add.at(at_risk, leaves[1][left_from:left_to], -1)
        n = total_at_risk[day]
        part -= at_risk * (table.events[day] / n**2)
        today = slice(*np.searchsorted(happens[0], (day, day + 1)))
        np.add.at(part, happens[1][today], 1 / n)
        squares[day] = part @ part
    last_event_day = np.maximum.accumulate(np.where(table.events > 0, np.arange(len(squares)), 0))
    return np.asarray(squares[last_event_day])


def mean_count(
    table: CountTable, squares: npt.ArrayLike, *, clusters: int, confidence: float = 0.95
) -> MeanCount:
    """Mean cumulative number of events a line by day, with limits that are adjusted for clusters.

    Parameters
    ----------
    table : CountTable
        Of the whole programme.
    squares : array_like of float, shape (n_days,)
        From :func:`cluster_squares`, summed over its parts.
    clusters : int
        Families (or lines) that were passed, unit: clusters.
    confidence : float in (0, 1), default 0.95
        Two-sided, at each day by itself.

    Returns
    -------
    MeanCount
        From day 0 to the last on which anybody was at risk. Limits are of the logarithm of the
        mean. Before the first event they are 0 and the exact Poisson limit of no event in as many
        lines as the fewest at risk so far (infinite after a day without any). With one cluster
        the error is unknown: nan.

    Raises
    ------
    ValueError
        `squares` does not fit the table, fewer than one cluster, or `confidence` not in (0, 1).

    Notes
    -----
    *Source:* sum of dN / Y: Nelson, Technometrics 30 (1988) 177, Lawless & Nadeau (1995) (from
    memory; values checked against R). Limits exp(log M ± z SE / M): as in the R package reda.
    No event: Garwood, Biometrika 28 (1936) 437 (from memory), -log(alpha / 2) / n.

    Examples
    --------
    >>> starts, stops, family = [0, 0], [5, 5], [1, 2]
    >>> table = count_table(starts, stops, [2, 4])
    >>> squares = cluster_squares(table, starts, stops, family, [2, 4], [1, 2])
    >>> mean_count(table, squares, clusters=2).mean.tolist()
    [0.0, 0.0, 0.5, 0.5, 1.0, 1.0]
    """
    z = normal_quantile(confidence)
    variance = np.asarray(squares, dtype=np.float64)
    if variance.shape != (table.lines.n_days,):
        raise ValueError(f"squares {variance.shape} do not fit {table.lines.n_days} days")
    if clusters < 1:
        raise ValueError(f"clusters must be 1 or more, not {clusters}")
    day = np.arange(table.lines.last_day + 1)
    at_risk = table.at_risk[day]
    events = table.events[day]
    mean = np.cumsum(events / np.maximum(at_risk, 1))
    none = mean == 0
    known = ~none & (clusters > 1)
    std_error = np.where(known, np.sqrt(variance[day]), np.nan)
    factor = np.exp(z * std_error / np.where(none, 1.0, mean))
    lower = np.where(none, 0.0, mean / factor)
    upper = np.where(none, _highest_without_events(at_risk, confidence), mean * factor)
    return MeanCount(day, at_risk, events, mean, std_error, lower, upper)


def _highest_without_events(at_risk: Ints, confidence: float) -> Floats:
    """Highest mean that could have given no event so far, by day; 0 on day 0."""
    fewest = np.minimum.accumulate(at_risk[1:])
    limit = -np.log((1 - confidence) / 2)
    highest = np.where(fewest > 0, limit / np.maximum(fewest, 1), np.inf)
    return np.concatenate(([0.0], highest))


def _by_day(days: Ints, codes: Ints) -> tuple[Ints, Ints]:
    """Days in order, and the codes in that order."""
    order = np.argsort(days, kind="stable")
    return days[order], codes[order]


def _refuse_events_out_of_sight(
    start: Ints, stop: Ints, row_code: Ints, days: Ints, event_code: Ints, n_days: int
) -> None:
    """Raise ValueError for an event on a day its cluster has no row at risk."""
    # Packed keys: of one cluster, rows started before the day less rows stopped before it.
    span = n_days + 1
    wanted = event_code * span + np.clip(days, 0, n_days)
    base = event_code * span
    starts = np.sort(row_code * span + np.minimum(start, n_days))
    stops = np.sort(row_code * span + np.minimum(stop, n_days))
    entered = np.searchsorted(starts, wanted) - np.searchsorted(starts, base)
    left = np.searchsorted(stops, wanted) - np.searchsorted(stops, base)
    seen: Flags = (entered > left) & (days >= 0) & (days < n_days)
    if not seen.all():
        raise ValueError(
            f"an event on a day its cluster has nobody at risk; position {int(np.argmin(seen))}"
        )
