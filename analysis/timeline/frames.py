"""The timeline's numbers as frames: the only place of the package that makes them.

Inside the timeline days are int64; here they become dates, positions become words and -1
becomes a blank. The frames are catalogued in `analysis.tables.timeline`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, dates_of
from analysis.tables.columns import Frame
from analysis.tables.kinds import Kind
from analysis.tables.timeline import FAMILIES, HOME_LINES, HOME_PERIODS, OUTCOME_EVENTS, SKIN_EVENTS
from analysis.timeline.axis import NEVER, Axis, Codes, Ints, Spans, line_of
from analysis.timeline.care import Intervals
from analysis.timeline.coded import OUTCOMES, Entries, words_of
from analysis.timeline.episodes import FindingEvents, OutcomeEvents
from analysis.timeline.families import Silence
from analysis.timeline.home import PERIOD_ENDS, Home, last_return
from analysis.timeline.state import STATES, Care
from analysis.vocabulary import State, Task

if TYPE_CHECKING:
    from analysis.timeline.build import Coded

TASKS = tuple(Task)
Columns = dict[str, npt.NDArray[Any]]


def frame_of(entry: Frame, parts: Sequence[Columns]) -> pd.DataFrame:
    """Join parts as a frame of a catalogue entry, emptying the parts on the way.

    Codes come as positions in the column's allowed words; a count that may be blank as -1.
    """
    columns: dict[str, Any] = {}
    for column in entry.columns:
        values = np.concatenate([part.pop(column.name) for part in parts])
        if column.kind is Kind.CODE:
            columns[column.name] = words_of(values, column.allowed)
        elif column.kind is Kind.COUNT and column.blank is not None:
            columns[column.name] = pd.arrays.IntegerArray(values, values < 0)
        else:
            columns[column.name] = values
    return pd.DataFrame(columns, copy=False)


def lines_frame(coded: Coded, dressing: pd.DataFrame) -> pd.DataFrame:
    """Make the frame `HOME_LINES`; `dressing` is `CARE` of the dressing."""
    lines, home = coded.lines, coded.home
    unknown = dressing["state"].cat.codes.to_numpy() == STATES.index(State.UNKNOWN)
    frame = lines.frame.assign(
        line=np.arange(len(lines.child), dtype=np.int64),
        family=lines.family,
        end_on=_dates(lines.end_on),
        at_home=home.at_home,
        home_line_days=home.days,
        unknown_since=_dates(np.where(unknown, last_return(coded.axis, lines, home), NEVER)),
    )
    return frame[HOME_LINES.names]


def accessed_columns(axis: Axis, accessed: Spans) -> Columns:
    """Return the columns of `ACCESSED_PERIODS`."""
    end_on = axis.day(accessed.end)
    return {
        "line": line_of(accessed.start),
        "start_on": dates_of(axis.day(accessed.start)),
        "end_on": _dates(np.where(end_on > axis.as_of, NEVER, end_on)),
    }


def interval_columns(coded: Coded, task: Task, found: Intervals) -> Columns:
    """Return the columns of `INTERVALS` for one task."""
    axis, entries = coded.axis, coded.entries
    reported_on = np.full(len(found.line), NO_DAY, dtype=np.int64)
    was_reported = found.reported >= 0
    reported_on[was_reported] = entries.day[found.reported[was_reported]]
    return {
        "line": found.line,
        "task": _task_column(task, len(found.line)),
        "start_on": dates_of(axis.day(found.key)),
        "row": entries.rows(found.source),
        "by_home": found.by_home,
        "dressing_type": found.dressing_type,
        "interval_days": found.interval_days,
        "home_on": dates_of(found.home_on),
        "due_on": _dates(found.due_on),
        "allowed_until": _dates(found.allowed_until),
        "reported_on": dates_of(reported_on),
        "report_row": entries.rows(found.reported),
        "end_on": dates_of(found.end_on),
        "end_row": entries.rows(found.end_source),
        "ended_by": found.ended_by,
        "scored": found.scored,
        "on_time": found.on_time,
        "late_days": found.late_days,
        "in_date_days": found.in_date_days,
        "out_of_date_days": found.out_of_date_days,
    }


def care_columns(entries: Entries, task: Task, care: Care) -> Columns:
    """Return the columns of `CARE` for one task."""
    return {
        "line": care.line,
        "task": _task_column(task, len(care.line)),
        "in_date_days": care.in_date_days,
        "out_of_date_days": care.out_of_date_days,
        "unscored_days": care.unscored_days,
        "not_accessed_days": care.not_accessed_days,
        "intervals_scored": care.intervals_scored,
        "intervals_on_time": care.intervals_on_time,
        "state": care.state,
        "last_change_on": _dates(care.last_change_on),
        "allowed_until": _dates(care.allowed_until),
        "days_overdue": care.days_overdue,
        "change_row": entries.rows(care.change),
        "report_row": entries.rows(care.report),
    }


def _task_column(task: Task, length: int) -> Codes:
    return np.full(length, TASKS.index(task), dtype=np.int8)


def _dates(days: Ints) -> npt.NDArray[np.datetime64]:
    return dates_of(np.where(days == NEVER, NO_DAY, days))


def periods_frame(axis: Axis, home: Home) -> pd.DataFrame:
    """Make the frame `HOME_PERIODS`."""
    columns = {
        "line": line_of(home.periods.start),
        "start_on": dates_of(axis.day(home.periods.start)),
        "end_on": dates_of(axis.day(home.periods.end)),
        "ended_by": words_of(home.ended_by, PERIOD_ENDS),
    }
    return pd.DataFrame(columns)[HOME_PERIODS.names]


def skin_frame(found: FindingEvents) -> pd.DataFrame:
    """Make the frame `SKIN_EVENTS`."""
    columns = {
        "line": found.line,
        "onset_on": dates_of(found.onset_on),
        "last_on": dates_of(found.last_on),
        "findings": found.findings,
        "onset_row": found.onset_row,
        "last_row": found.last_row,
        "at_home": found.at_home,
    }
    return pd.DataFrame(columns)[SKIN_EVENTS.names]


def outcomes_frame(found: OutcomeEvents) -> pd.DataFrame:
    """Make the frame `OUTCOME_EVENTS`."""
    columns = {
        "line": found.line,
        "outcome": words_of(found.outcome, OUTCOMES),
        "onset_on": dates_of(found.onset_on),
        "row": found.row,
        "at_home": found.at_home,
    }
    return pd.DataFrame(columns)[OUTCOME_EVENTS.names]


def families_frame(family_ids: pd.Series[Any], found: Silence) -> pd.DataFrame:
    """Make the frame `FAMILIES`."""
    columns = {
        "family": np.arange(len(family_ids), dtype=np.int64),
        "family_id": family_ids,
        "last_heard_on": dates_of(found.last_heard),
        "heard_row": found.heard_row,
        "home_since": dates_of(found.home_since),
        "silent_days": found.days,
        "silent": found.silent,
    }
    return pd.DataFrame(columns)[FAMILIES.names]
