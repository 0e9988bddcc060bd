"""How long do lines stay in place, and how many end unplanned?

Days count from placement; a line is seen only from the day it came home (delayed entry).
Unplanned removal is the event of interest; planned removal and death compete with it, so its
share is Aalen-Johansen's and never 1 minus the curve of one cause (definitions §6).
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.measures.counts import MeasureError
from analysis.measures.grouping import OF_THE_LINE
from analysis.measures.snapshot_data import FoundOf, unless_same
from analysis.stats.clustered_logrank import clustered_logrank
from analysis.stats.competing import Incidence, aalen_johansen
from analysis.stats.day_table import DayTable, Ints, day_tables, has_time
from analysis.stats.survival import kaplan_meier, median_days, restricted_mean, start_when
from analysis.tables import Records
from analysis.tables.measures import DWELL, DWELL_SUMMARY, LINE_TIMES, LOGRANK
from analysis.tallies import tally_lines
from analysis.timeline import Timeline
from analysis.vocabulary import PLANNED_REMOVALS, Grouping, RemovalReason

UNPLANNED, PLANNED, DEATH = 1, 2, 3
N_CAUSES = 3
HORIZON_DAYS = 365
"""Mean days in place are taken up to a year, or as far as the group was followed."""
NEVER_BEFORE, NEVER = -(1 << 40), 1 << 40
"""Days before and after every other."""


@dataclass(frozen=True)
class Dwell:
    """Curves by group (DWELL) and their summary (DWELL_SUMMARY)."""

    curves: pd.DataFrame
    summary: pd.DataFrame


def line_times(
    timeline: Timeline, records: Records, by: Grouping, sites: Collection[str] | None = None
) -> pd.DataFrame:
    """When each line came under observation, when it was last seen, and how it ended.

    Parameters
    ----------
    timeline : Timeline
        As of a day: an end dated on it is known, a later one has not been seen yet.
    records : Records
        Read for the reason of removal and the registry's dressing type.
    by : Grouping
        Of the line; months and quarters are those of its placement. A line that moves to another
        site, nurse or family is seen in each for as long as it is there.
    sites : collection of str or None
        Only the time at these sites; None: all.

    Returns
    -------
    DataFrame
        LINE_TIMES.

    *Source:* project definition, definitions §2 and §6.
    """
    lines = timeline.lines
    registry = records.lines.set_index("line_id").reindex(lines["line_id"])
    as_of = int(np.datetime64(timeline.as_of, "D").astype(np.int64))
    placed, home = days_of(lines["placed_on"]), days_of(lines["home_from"])
    end, removed = days_of(lines["end_on"]), days_of(registry["removed_on"])
    seen = (home < as_of) & (placed <= home)
    last = np.maximum(np.where((end == NO_DAY) | (end > as_of), as_of, end), home)
    ended = (removed != NO_DAY) & (removed == end) & (end <= as_of)
    reason = registry["removal_reason"].astype("object")
    planned = reason.isin([str(r) for r in PLANNED_REMOVALS]).to_numpy()
    died = reason.eq(RemovalReason.DEATH).to_numpy()
    cause = np.where(planned, PLANNED, np.where(died, DEATH, UNPLANNED))
    times = _times(timeline, registry, by, sites)
    line, start, until = (times[c].to_numpy(dtype=np.int64) for c in ("line", "start", "until"))
    # On the day on which a line moves it is at risk in the new group already.
    entry = np.maximum(home[line], start - 1)
    leave = np.minimum(last[line], until - 1)
    without_time = (last[line] == home[line]) & (start <= home[line]) & (home[line] < until)
    here = seen[line] & ((leave > entry) | without_time)
    ends_here = ended[line] & (start <= end[line]) & (end[line] < until)
    frame = pd.DataFrame(
        {
            "line": line,
            "group": times["group"].array,
            "entry_day": entry - placed[line],
            "exit_day": np.maximum(leave, entry) - placed[line],
            "cause": np.where(ends_here, cause[line], 0),
        }
    )
    return LINE_TIMES.check(frame[here].reset_index(drop=True))


def _times(
    timeline: Timeline, registry: pd.DataFrame, by: Grouping, sites: Collection[str] | None
) -> pd.DataFrame:
    """One row a line and time in one group at these sites: line, start, until, group."""
    held = tally_lines(timeline)
    line = pd.Index(timeline.lines["line_id"]).get_indexer(pd.Index(held["line_id"]))
    start = days_of(held["held_from"])
    first = np.append(True, line[1:] != line[:-1])[: len(line)]
    start = np.where(first, NEVER_BEFORE, start)
    until = np.append(np.where(first[1:], NEVER, start[1:]), [NEVER])[: len(line)]
    group = (
        held[OF_THE_LINE[by]].astype("string")
        if by in OF_THE_LINE
        else _groups(timeline.lines, registry, by).take(line)
    )
    times = pd.DataFrame(
        {"line": line, "start": start, "until": until, "group": group.to_numpy(dtype=object)}
    )
    if sites is not None:
        times = times[held["site"].isin(list(sites)).to_numpy(bool, na_value=False)]
    # Times that follow each other in one group are one.
    before = times.shift()
    same = (times["line"] == before["line"]) & (times["start"] == before["until"])
    same &= times["group"].fillna("") == before["group"].fillna("")
    starts = np.flatnonzero(~same.to_numpy(dtype=bool))
    last = np.append(starts[1:], len(times))[: len(starts)] - 1
    until = times["until"].to_numpy(dtype=np.int64)[last]
    return times.iloc[starts].assign(until=until).reset_index(drop=True).astype({"group": "string"})


def _groups(lines: pd.DataFrame, registry: pd.DataFrame, by: Grouping) -> pd.Series[str]:
    if by is Grouping.ALL:
        return pd.Series("all", index=lines.index, dtype="string")
    placed = pd.DatetimeIndex(lines["placed_on"])
    if by is Grouping.MONTH:
        return pd.Series(placed.strftime("%Y-%m"), index=lines.index, dtype="string")
    if by is Grouping.QUARTER:
        text = placed.year.astype(str) + "-Q" + placed.quarter.astype(str)
        return pd.Series(text, index=lines.index, dtype="string")
    if by is Grouping.DRESSING_TYPE:
        return pd.Series(registry["dressing_type"].astype("string").to_numpy(), dtype="string")
    raise MeasureError(
        f"dwell time cannot be split by {by}, which changes while a line is in place."
    )


def dwell(
    timeline: Timeline, records: Records, by: Grouping, sites: Collection[str] | None = None
) -> Dwell:
    """Share of lines still in place and share ended unplanned, by day since placement.

    Parameters
    ----------
    timeline, records, by, sites
        As for `line_times`.

    Returns
    -------
    Dwell
        A curve starts on the first day with ten lines at risk and is "given in place on" it; a
        group that never has ten has a summary without a curve.

    Raises
    ------
    MeasureError
        The grouping changes while a line is in place.

    *Source:* project definition, definitions §6; Kaplan-Meier and Aalen-Johansen with delayed
    entry as `stats.survival` and `stats.competing` describe.
    """
    return curves_of(line_times(timeline, records, by, sites))


def curves_of(times: pd.DataFrame, known: FoundOf | None = None) -> Dwell:
    """As `dwell`, from LINE_TIMES: also from those of several sets of families, joined.

    `known` is as for `snapshot_data.unless_same`.
    """
    groups, tables, without_time = _day_tables(times)
    days = (cells for table in tables for cells in vars(table).values())
    return unless_same(
        {} if known is None else known,
        ("dwell", *groups),
        (without_time, *days),
        lambda: _curves(groups, tables, without_time),
    )


def _curves(groups: list[str | None], tables: tuple[DayTable, ...], without_time: Ints) -> Dwell:
    curves, rows = [], []
    for group, table, left_out in zip(groups, tables, without_time, strict=True):
        curve, row = _one_group(table)
        curves.append(curve.assign(group=group))
        rows.append({**row, "group": group, "without_time": int(left_out)})
    stacked = pd.concat(curves) if curves else DWELL.empty()
    summary = pd.DataFrame(rows, columns=DWELL_SUMMARY.names)
    types = {c.name: c.dtype for c in DWELL_SUMMARY.columns}
    curve_types = {c.name: c.dtype for c in DWELL.columns}
    return Dwell(
        DWELL.check(stacked.astype(curve_types).reset_index(drop=True)),
        DWELL_SUMMARY.check(summary.astype(types)),
    )


def compare_dwell(
    timeline: Timeline,
    records: Records,
    by: Grouping,
    sites: Collection[str] | None = None,
    *,
    unplanned_only: bool,
) -> pd.DataFrame:
    """Log-rank test of any removal, or of unplanned removal, between all groups.

    Parameters
    ----------
    timeline, records, by, sites
        As for `line_times`.
    unplanned_only : bool
        Count unplanned removal only; other ends are censored then.

    Returns
    -------
    DataFrame
        LOGRANK, one row, with families as the independent units where any has several lines.

    Raises
    ------
    MeasureError
        Fewer than two groups, or a grouping that changes while a line is in place.

    *Source:* as `stats.logrank` and `stats.clustered_logrank` describe.
    """
    times = line_times(timeline, records, by, sites)
    groups, code = _coded(times)
    if len(groups) < 2:
        raise MeasureError(f"by {by} there are fewer than two groups to compare.")
    entry, leave = times["entry_day"].to_numpy(), times["exit_day"].to_numpy()
    timed, cause = has_time(entry, leave), times["cause"].to_numpy()
    ended = cause == UNPLANNED if unplanned_only else cause > 0
    family = timeline.lines["family"].to_numpy(dtype=np.int64)
    family = family[times["line"].to_numpy(dtype=np.int64)]
    found = clustered_logrank(entry[timed], leave[timed], ended[timed], code[timed], family[timed])
    row = pd.DataFrame({"statistic": [found.statistic], "df": [found.df], "p": [found.p]})
    return LOGRANK.check(row)


def _coded(times: pd.DataFrame) -> tuple[list[str | None], Ints]:
    """Groups in order (not recorded last), and the code of each line's."""
    groups = sorted(times["group"].dropna().unique())
    names: list[str | None] = list(groups)
    code = pd.Index(groups, dtype="string").get_indexer(pd.Index(times["group"]))
    if times["group"].isna().any():
        names.append(None)
        code = np.where(code < 0, len(groups), code)
    return names, np.asarray(code, dtype=np.int64)


def _day_tables(
    times: pd.DataFrame,
) -> tuple[list[str | None], tuple[DayTable, ...], Ints]:
    """Groups in order (not recorded last), their day tables, and lines without time in each."""
    names, code = _coded(times)
    if not names:
        return [], (), np.zeros(0, dtype=np.int64)
    entry, leave = times["entry_day"].to_numpy(), times["exit_day"].to_numpy()
    timed = has_time(entry, leave)
    tables = day_tables(
        entry[timed],
        leave[timed],
        times["cause"].to_numpy()[timed],
        code[timed],
        n_causes=N_CAUSES,
        n_groups=len(names),
    )
    return names, tables, np.bincount(code[~timed], minlength=len(names))


def _one_group(table: DayTable) -> tuple[pd.DataFrame, dict[str, object]]:
    start = start_when(table)
    if start is None:
        row: dict[str, object] = {
            "lines": table.n_lines,
            "removed": int(table.removed.sum()),
            "unplanned": int(table.events[:, UNPLANNED - 1].sum()),
            "planned": int(table.events[:, PLANNED - 1].sum()),
            "reading": "fewer than ten lines at risk on every day: too few for a curve",
        }
        return DWELL.empty(), row
    curve, incidence = kaplan_meier(table, start=start), aalen_johansen(table, start=start)
    median = median_days(curve)
    # A curve that starts later than a year after placement is read a year after its start.
    horizon = min(HORIZON_DAYS + (start if start >= HORIZON_DAYS else 0), int(curve.day[-1]))
    mean = restricted_mean(curve, horizon) if horizon > start else None
    shown, ends = curve.on_event_days(), incidence.on_event_days()
    unplanned = UNPLANNED - 1
    frame = pd.DataFrame(
        {
            "day": shown.day,
            "at_risk": shown.at_risk,
            "removed": shown.events,
            "unplanned": ends.events[:, unplanned],
            "planned": ends.events[:, PLANNED - 1],
            "in_place": shown.survival,
            "in_place_lower": shown.lower,
            "in_place_upper": shown.upper,
            "unplanned_share": ends.share[:, unplanned],
            "unplanned_lower": ends.lower[:, unplanned],
            "unplanned_upper": ends.upper[:, unplanned],
        }
    )
    row = {
        "lines": table.n_lines,
        "start_day": start,
        "removed": int(incidence.events.sum()),
        "unplanned": int(incidence.events[:, unplanned].sum()),
        "planned": int(incidence.events[:, PLANNED - 1].sum()),
        "median_day": median.day,
        "median_lower": median.lower,
        "median_upper": median.upper,
        "horizon": horizon,
        "mean_days": mean.days if mean else np.nan,
        "mean_days_error": mean.std_error if mean else np.nan,
        "reading": _reading(start, horizon, incidence.at([horizon])),
    }
    return frame, row


def _reading(start: int, horizon: int, at_horizon: Incidence) -> str:
    """The result in one sentence."""
    share, lower, upper = (
        round(100 * float(v[0, UNPLANNED - 1]))
        for v in (at_horizon.share, at_horizon.lower, at_horizon.upper)
    )
    in_place = round(100 * float(at_horizon.survival[0]))
    of = "all lines" if start == 0 else f"the lines in place on day {start}"
    return (
        f"of {of}, {share} % (95 % limits {lower} to {upper} %) had ended unplanned by day "
        f"{horizon} and {in_place} % were still in place"
    )
