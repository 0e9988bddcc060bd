"""How many days of each class has each line, by month, dressing type and age band?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.policy import Policy
from analysis.tables.timeline import TALLY
from analysis.tallies.pieces import (
    DressingInForce,
    Groups,
    days_of_child,
    days_of_family,
    of_task,
    pieces_of,
    sums,
)
from analysis.timeline import Timeline
from analysis.timeline.axis import NEVER, Axis, Ints, Spans, days_covered, unique_sorted, without
from analysis.timeline.build import Coded
from analysis.timeline.care import DatedDays
from analysis.timeline.coded import words_of
from analysis.timeline.entered import PORT_TASKS
from analysis.timeline.families import heard_spans
from analysis.timeline.frames import TASKS
from analysis.vocabulary import Task


def day_tally(
    timeline: Timeline, coded: Coded, policy: Policy, dressing: DressingInForce
) -> pd.DataFrame:
    """Make the frame `TALLY`.

    Every line with a home line-day has rows for each of its tasks; only ports have a needle.
    """
    axis, lines = coded.axis, coded.lines
    groups = Groups.around(axis, coded.attributes)
    pieces = pieces_of(axis, coded.home.periods, dressing)
    of_piece = groups.of(pieces.start, axis, dressing)
    by_task = [of_task(timeline.intervals, task) for task in TASKS]
    scored = [i[["line", "end_on", "on_time"]][i["scored"].to_numpy()] for i in by_task]
    last_days = [axis.pack(s["line"].to_numpy(), days_of(s["end_on"]) - 1) for s in scored]
    of_scored = [groups.of(key, axis, dressing) for key in last_days]

    # before: one row a piece or scored interval; after: one row a group
    wanted = unique_sorted(np.concatenate([of_piece, *of_scored]))
    place, n = np.searchsorted(wanted, of_piece), len(wanted)
    columns = groups.columns(wanted, lines, policy.on(timeline.as_of).settings.age_band_starts)
    heard = days_of_family(coded, heard_spans(coded, policy))
    owned = days_of_child(axis, lines, coded.home.periods)
    home_days = sums(place, n, pieces.end - pieces.start)
    columns["home_line_days"] = home_days
    columns["child_days"] = sums(place, n, _counted(owned, pieces))
    columns["heard_days"] = sums(place, n, _counted(heard, pieces))
    heard_of_child = without(owned, without(owned, heard))
    columns["heard_child_days"] = sums(place, n, _counted(heard_of_child, pieces))
    is_port = lines.is_port[groups.line(wanted)]
    accessed = sums(place, n, _counted(_accessed(axis, timeline.accessed_periods), pieces))
    frames = []
    for at, task in enumerate(TASKS):
        in_date, out_of_date = (
            sums(place, n, days) for days in _dated_days(axis, by_task[at]).by_piece(axis, pieces)
        )
        closed = is_port if task in PORT_TASKS else np.zeros(n, dtype=bool)
        not_accessed = np.where(closed, home_days - accessed, 0)
        of_interval = np.searchsorted(wanted, of_scored[at])
        on_time = scored[at]["on_time"].to_numpy().astype(np.int64)
        n_scored = sums(of_interval, n, np.ones_like(on_time))
        values = {
            **columns,
            "task": words_of(np.full(n, at, dtype=np.int8), TASKS),
            "in_date_days": in_date,
            "out_of_date_days": out_of_date,
            "unscored_days": home_days - in_date - out_of_date - not_accessed,
            "not_accessed_days": not_accessed,
            "intervals_scored": n_scored,
            "intervals_on_time": sums(of_interval, n, on_time),
        }
        used = (home_days > 0) | (n_scored > 0)
        if task is Task.NEEDLE:
            used &= is_port
        frames.append(pd.DataFrame({name: values[name][used] for name in TALLY.names}, copy=False))
    return pd.concat(frames, ignore_index=True)


def _counted(spans: Spans, pieces: Spans) -> Ints:
    return days_covered(spans, pieces.start, pieces.end)


def _dated_days(axis: Axis, intervals: pd.DataFrame) -> DatedDays:
    """Read `INTERVALS` of one task."""
    until = days_of(intervals["allowed_until"])
    return DatedDays(
        key=axis.pack(intervals["line"].to_numpy(), days_of(intervals["start_on"])),
        home_on=days_of(intervals["home_on"]),
        allowed_until=np.where(until == NO_DAY, NEVER, until),
        end_on=days_of(intervals["end_on"]),
        in_date_days=intervals["in_date_days"].to_numpy(),
        out_of_date_days=intervals["out_of_date_days"].to_numpy(),
    )


def _accessed(axis: Axis, accessed: pd.DataFrame) -> Spans:
    line = accessed["line"].to_numpy()
    end = days_of(accessed["end_on"])
    end = np.where(end == NO_DAY, axis.later, end)
    return Spans(axis.pack(line, days_of(accessed["start_on"])), axis.pack(line, end))
