"""On which days is each dressing due in the time ahead, by what holds of its line on each day?

Each dressing is taken to be changed on its last day on time, and the child to stay at home.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, date_at, day_number, days_of
from analysis.policy import Policy
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.timeline.versions import times_of
from analysis.vocabulary import DressingType, LineType, Task

Ints = npt.NDArray[np.int64]
NEVER = 1 << 40
"""Days until a change that no schedule asks for."""


@dataclass(frozen=True)
class Ahead:
    """What is known to hold of the lines at home in the days ahead."""

    times: pd.DataFrame
    """One row a line and time, in order: ``line`` (its position), ``start``, ``end`` (days since
    1970), ``site``, ``family_id`` and ``every`` (days from a change in it to the next)."""
    today: int

    def changes(self, timeline: Timeline, until: int) -> pd.DataFrame:
        """One row a change due before a day: line, day, site, family_id."""
        open_ = _open_intervals(timeline)
        # What is overdue is due today.
        due = np.maximum(days_of(open_["allowed_until"]), self.today)
        at = pd.Series(due, index=open_["line"].to_numpy())
        parts = []
        # Before: one row a line and time; after: one row a change. The loop runs over the few
        # times of a line.
        nth = self.times.groupby("line").cumcount()
        for _, of_all in self.times.groupby(nth):
            here = of_all[of_all["line"].isin(at.index).to_numpy(dtype=bool)]
            line, every = (here[c].to_numpy(dtype=np.int64) for c in ("line", "every"))
            first = at[line].to_numpy(dtype=np.int64)
            last = np.minimum(here["end"].to_numpy(dtype=np.int64), until)
            count = np.maximum(-((first - last) // every), 0)
            row = np.repeat(np.arange(len(here)), count)
            step = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
            at[line] = first + count * every
            parts.append(
                here[["line", "site", "family_id"]]
                .iloc[row]
                .assign(day=first[row] + step * every[row])
            )
        empty = self.times[["line", "site", "family_id"]].head(0).assign(day=0)
        return pd.concat(parts, ignore_index=True) if parts else empty

    def on_each_day(self, days: int) -> pd.DataFrame:
        """One row a line at home and day ahead: line, day, site."""
        day = self.today + np.arange(days, dtype=np.int64)
        start, end = (self.times[c].to_numpy(dtype=np.int64)[:, None] for c in ("start", "end"))
        row, at = np.nonzero((start <= day) & (day < end))
        return self.times[["line", "site"]].iloc[row].assign(day=day[at]).reset_index(drop=True)


def ahead(timeline: Timeline, records: Records, policy: Policy, until: int) -> Ahead:
    """What holds of each line at home from the as-of day until a day, as the registry has it now.

    A change keeps the interval that the line has at present, as long as its order and dressing
    type stay those of its last change; from a day on which they differ, it has the interval that
    the order, else the policy in force on that day, gives.

    *Source:* project definition, definitions §2 and §3.
    """
    today = day_number(timeline.as_of)
    lines = timeline.lines[timeline.lines["at_home"]]
    times = times_of(records, lines["line_id"], until, policy.zone)
    place = lines.set_index("line_id")
    times = times.assign(
        line=place.loc[times["line_id"], "line"].to_numpy(dtype=np.int64),
        line_type=place.loc[times["line_id"], "line_type"].to_numpy(dtype=object),
    )
    same = (times["line"] == times["line"].shift(-1)).to_numpy(dtype=bool)
    end = np.where(same, times["start"].shift(-1, fill_value=0), NEVER)
    times = times.assign(end=end)
    every = _intervals(timeline, times, policy, today)
    coming = (times["end"] > today).to_numpy(dtype=bool)
    return Ahead(times.assign(every=every)[coming].reset_index(drop=True), today)


def _open_intervals(timeline: Timeline) -> pd.DataFrame:
    """Dressing intervals in force of lines at home, one a line."""
    spans = timeline.intervals
    here = timeline.lines["at_home"].to_numpy(dtype=bool)
    open_ = (spans["task"] == Task.DRESSING) & (spans["ended_by"] == "as_of")
    open_ &= spans["interval_days"].notna()
    return spans[open_.to_numpy(dtype=bool) & here[spans["line"].to_numpy()]]


def _intervals(timeline: Timeline, times: pd.DataFrame, policy: Policy, today: int) -> Ints:
    """Days from a planned change in each time to the next."""
    spans = _open_intervals(timeline).set_index("line")
    changed = spans["start_on"].reindex(times["line"])
    present = spans["interval_days"].reindex(times["line"]).fillna(NEVER).to_numpy(dtype=np.int64)
    day = days_of(changed)
    start = times["start"].to_numpy(dtype=np.int64)
    of_last_change = (
        (start <= day) & (day < times["end"].to_numpy(dtype=np.int64)) & (day != NO_DAY)
    )
    held = times[["change_every_days", "dressing_type"]].astype("string").fillna("")
    then = held[of_last_change].set_axis(times.loc[of_last_change, "line"].to_numpy())
    before = then.reindex(times["line"]).set_axis(times.index)
    differs = (held != before).fillna(value=False).any(axis=1) & times["line"].isin(spans.index)
    found = present.copy()
    for at in np.flatnonzero(differs.to_numpy(dtype=bool)):
        row = times.iloc[at]
        found[at] = _of_policy(row, policy, date_at(max(int(row["start"]), today)))
    return found


def _of_policy(row: pd.Series[Any], policy: Policy, on: date) -> int:
    order = row["change_every_days"]
    if not pd.isna(order):
        return int(order)
    dressing, kind = DressingType(str(row["dressing_type"])), LineType(str(row["line_type"]))
    days = policy.on(on).interval_days(Task.DRESSING, dressing, kind)
    return NEVER if days is None else days
