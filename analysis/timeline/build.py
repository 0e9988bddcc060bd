"""Records of a programme become its timeline as of one day."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, dates_of, day_number, days_of
from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.columns import Frame
from analysis.tables.kinds import Kind
from analysis.tables.timeline import (
    ACCESSED_SPELLS,
    CARE,
    FAMILIES,
    HOME_LINES,
    HOME_SPELLS,
    INTERVALS,
    OUTCOME_EVENTS,
    SKIN_EVENTS,
)
from analysis.timeline.axis import NEVER, Axis, Codes, Ints, Spans, line_of
from analysis.timeline.care import Intervals, Rule, intervals_of
from analysis.timeline.coded import (
    Entries,
    Lines,
    Stays,
    code_entries,
    code_lines,
    code_stays,
    words_of,
)
from analysis.timeline.entered import (
    PORT_TASKS,
    Block,
    accessed_spans,
    blocks_of,
    changes_of,
    done_by_clinic,
    reports_of,
)
from analysis.timeline.episodes import entries_that_hold, finding_events, outcome_events
from analysis.timeline.families import families_frame
from analysis.timeline.home import (
    Home,
    find_home,
    last_return,
    spells_frame,
)
from analysis.timeline.state import STATES, Care, care_of
from analysis.vocabulary import FindingMark, State, Task

TASKS = tuple(Task)
Columns = dict[str, npt.NDArray[Any]]


@dataclass(frozen=True)
class Timeline:
    """Everything that can be told of each line and family as of one day.

    The frames are described in `analysis.tables.timeline` under the same names.
    """

    as_of: date
    lines: pd.DataFrame
    home_spells: pd.DataFrame
    accessed_spells: pd.DataFrame
    intervals: pd.DataFrame
    care: pd.DataFrame
    skin_events: pd.DataFrame
    outcome_events: pd.DataFrame
    families: pd.DataFrame


@dataclass(frozen=True)
class Coded:
    """Records of a programme as numbers on one axis, and who was where."""

    axis: Axis
    lines: Lines
    entries: Entries
    stays: Stays
    home: Home


@dataclass(frozen=True)
class Told:
    """What the entries of a block of lines come to, by task."""

    block: Block
    accessed: Spans
    intervals: dict[Task, Intervals]
    care: dict[Task, Care]


def code(records: Records, as_of: date) -> Coded:
    """Turn records into numbers, cut at the as-of day."""
    day = day_number(as_of)
    lines = code_lines(records, day)
    entries = code_entries(records, lines, day)
    stays = code_stays(records, lines, day)
    onsets = days_of(records.outcomes["onset_on"])
    axis = Axis.around(
        day,
        (
            lines.placed_on,
            lines.home_from,
            lines.dressing_on,
            entries.day,
            stays.from_on,
            stays.dressing_on,
            onsets,
        ),
    )
    return Coded(axis, lines, entries, stays, find_home(axis, lines, stays))


def build(records: Records, policy: Policy, as_of: date) -> Timeline:
    """Work out home line-days, care intervals, states and events as of a day.

    A pure function of the records of whole families: rows may come in any order, and the
    timelines of two sets of families laid one after the other are the timeline of both.

    Parameters
    ----------
    records : Records
        Newest version of every row as known at one time. Dates after `as_of` are cut here:
        a removal, return or stay that lies in the future has not happened yet, and a line
        placed later is not there yet.
    policy : Policy
        An interval follows the edition in force on the day of its change; limits and states
        follow the edition in force on the as-of day.
    as_of : date
        Read in its morning: the days that count are before it, entries up to it are known.

    Returns
    -------
    Timeline
        Frames as catalogued in `analysis.tables.timeline`.

    Raises
    ------
    FrameError
        A line has two rows, or a column holds a word outside its list.
    ValueError
        A date lies more than 2,800 years before the as-of day.

    *Source:* project definition, definitions §1 to §5.
    """
    coded = code(records, as_of)
    axis, lines, home = coded.axis, coded.lines, coded.home
    settings = policy.on(as_of).settings
    intervals: dict[Task, list[Columns]] = {task: [] for task in TASKS}
    care: dict[Task, list[Columns]] = {task: [] for task in TASKS}
    accessed: list[Columns] = []
    for told in by_block(coded, policy, TASKS):
        accessed.append(_accessed_columns(axis, told.accessed))
        for task in TASKS:
            intervals[task].append(_interval_columns(coded, task, told.intervals[task]))
            care[task].append(_care_columns(coded.entries, task, told.care[task]))
    of_dressing = frame_of(CARE, [dict(c) for c in care[Task.DRESSING]])
    skin = entries_that_hold(coded.entries, policy.on(as_of).codes_marked(FindingMark.SKIN_EVENT))
    return Timeline(
        as_of=as_of,
        lines=_lines_frame(coded, of_dressing),
        home_spells=spells_frame(axis, home)[HOME_SPELLS.names],
        accessed_spells=frame_of(ACCESSED_SPELLS, accessed),
        intervals=frame_of(INTERVALS, [c for task in TASKS for c in intervals[task]]),
        care=frame_of(CARE, [c for task in TASKS for c in care[task]]),
        skin_events=finding_events(axis, home, coded.entries, skin, settings.episode_gap_days)[
            SKIN_EVENTS.names
        ],
        outcome_events=outcome_events(axis, lines, home, records, settings.infection_repeat_days)[
            OUTCOME_EVENTS.names
        ],
        families=families_frame(axis, lines, coded.entries, policy)[FAMILIES.names],
    )


def by_block(coded: Coded, policy: Policy, tasks: Sequence[Task]) -> Iterator[Told]:
    """Yield what is told of each block of lines; only one block's numbers are in the making."""
    axis, lines, entries, home = coded.axis, coded.lines, coded.entries, coded.home
    by_clinic = done_by_clinic(axis, lines, coded.stays)
    rules = {task: Rule.of(policy, task, lines) for task in tasks}
    for block in blocks_of(axis, lines, entries):
        accessed = accessed_spans(axis, lines, block)
        told = Told(block, accessed, {}, {})
        for task in tasks:
            reports = None
            if task is Task.DRESSING:
                reports = reports_of(axis, lines, block, home)
            changes = changes_of(task, lines, block, accessed, by_clinic)
            found = intervals_of(
                axis,
                lines,
                home,
                entries,
                block,
                changes,
                rules[task],
                accessed if task in PORT_TASKS else None,
                reports,
            )
            told.intervals[task] = found
            told.care[task] = care_of(axis, task, lines, home, block, found, accessed)
        yield told


def frame_of(entry: Frame, parts: Sequence[Columns]) -> pd.DataFrame:
    """Lay parts together as a frame of a catalogue entry, emptying the parts as it goes.

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


def _lines_frame(coded: Coded, dressing: pd.DataFrame) -> pd.DataFrame:
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


def _accessed_columns(axis: Axis, accessed: Spans) -> Columns:
    end_on = axis.day(accessed.end)
    return {
        "line": line_of(accessed.start),
        "start_on": dates_of(axis.day(accessed.start)),
        "end_on": _dates(np.where(end_on > axis.as_of, NEVER, end_on)),
    }


def _interval_columns(coded: Coded, task: Task, found: Intervals) -> Columns:
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


def _care_columns(entries: Entries, task: Task, care: Care) -> Columns:
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
