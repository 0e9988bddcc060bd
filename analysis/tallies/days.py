"""How many days of each class has each line, by month, dressing type and age band?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.policy import Policy
from analysis.tables.columns import NO_DAY, days_of
from analysis.tables.timeline import TALLY
from analysis.tallies.pieces import (
    DressingInForce,
    Groups,
    days_of_child,
    days_of_family,
    month_of,
    pieces_of,
    sums,
)
from analysis.timeline import Timeline
from analysis.timeline.axis import Axis, Ints, Spans, days_covered, line_of, unique_sorted
from analysis.timeline.build import TASKS, Coded
from analysis.timeline.care import DatedDays
from analysis.timeline.coded import words_of
from analysis.timeline.entered import PORT_TASKS
from analysis.timeline.families import heard_spans
from analysis.vocabulary import Task

_READ_OF_INTERVALS = (
    "line",
    "start_on",
    "home_on",
    "allowed_until",
    "end_on",
    "scored",
    "on_time",
    "in_date_days",
    "out_of_date_days",
)


def day_tally(
    timeline: Timeline, coded: Coded, policy: Policy, dressing: DressingInForce
) -> pd.DataFrame:
    """Make the frame `TALLY`.

    Every line with a home line-day stands in the rows of each of its tasks; only ports have
    a needle.
    """
    axis, lines = coded.axis, coded.lines
    groups = Groups.around(axis)
    pieces = pieces_of(axis, coded.home.spells, dressing)
    line = line_of(pieces.start)
    group = groups.number(line, month_of(axis.day(pieces.start)), dressing.on(pieces.start))
    heard = days_of_family(axis, lines, heard_spans(axis, lines, coded.entries, policy))
    home_days = pieces.end - pieces.start
    of_every_task = {
        "home_line_days": home_days,
        "child_days": _counted(days_of_child(axis, lines, coded.home.spells), pieces),
        "heard_days": _counted(heard, pieces),
    }
    accessed_days = _counted(_accessed(axis, timeline.accessed_spells), pieces)
    not_accessed_days = np.where(lines.is_port[line], home_days - accessed_days, 0)
    starts = policy.on(timeline.as_of).settings.age_band_starts
    read = timeline.intervals[list(_READ_OF_INTERVALS)]
    task_codes = timeline.intervals["task"].cat.codes.to_numpy()
    frames = []
    for at, task in enumerate(TASKS):
        intervals = read[task_codes == at]
        in_date, out_of_date = DatedDays.read(axis, intervals).by_piece(axis, pieces)
        not_accessed = not_accessed_days if task in PORT_TASKS else np.zeros_like(home_days)
        days = {
            **of_every_task,
            "in_date_days": in_date,
            "out_of_date_days": out_of_date,
            "unscored_days": home_days - in_date - out_of_date - not_accessed,
            "not_accessed_days": not_accessed,
        }
        # before: one row a piece or scored interval; after: one row a group
        has_task = lines.is_port[line] if task is Task.NEEDLE else np.ones(len(line), dtype=bool)
        scored = intervals[intervals["scored"].to_numpy()]
        last_day = axis.pack(scored["line"].to_numpy(), days_of(scored["end_on"]) - 1)
        of_interval = groups.number(
            line_of(last_day), month_of(axis.day(last_day)), dressing.on(last_day)
        )
        wanted = unique_sorted(np.concatenate([group[has_task], of_interval]))
        columns = groups.columns(wanted, lines, starts)
        columns["task"] = words_of(np.full(len(wanted), at, dtype=np.int8), TASKS)
        place = np.searchsorted(wanted, group[has_task])
        for name, counts in days.items():
            columns[name] = sums(place, len(wanted), counts[has_task])
        place = np.searchsorted(wanted, of_interval)
        on_time = scored["on_time"].to_numpy().astype(np.int64)
        columns["intervals_scored"] = sums(place, len(wanted), np.ones_like(on_time))
        columns["intervals_on_time"] = sums(place, len(wanted), on_time)
        frames.append(pd.DataFrame(columns))
    return pd.concat(frames, ignore_index=True)[TALLY.names]


def _counted(spans: Spans, pieces: Spans) -> Ints:
    return days_covered(spans, pieces.start, pieces.end)


def _accessed(axis: Axis, accessed: pd.DataFrame) -> Spans:
    line = accessed["line"].to_numpy()
    end = days_of(accessed["end_on"])
    end = np.where(end == NO_DAY, axis.later, end)
    return Spans(axis.pack(line, days_of(accessed["start_on"])), axis.pack(line, end))
