"""Records of a programme become its timeline as of one day."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.columns import NO_DAY, dates_of, days_of
from analysis.tables.timeline import (
    ACCESSED_SPELLS,
    CARE,
    ENDED_BY,
    FAMILIES,
    HOME_LINES,
    HOME_SPELLS,
    INTERVALS,
    OUTCOME_EVENTS,
    SKIN_EVENTS,
)
from analysis.timeline.axis import NEVER, Axis, Ints, Spans, line_of
from analysis.timeline.care import Intervals, Rule, intervals_of
from analysis.timeline.coded import (
    DRESSING_TYPES,
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
_EPOCH = date(1970, 1, 1)


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
    day = (as_of - _EPOCH).days
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
    told = list(by_block(coded, policy, TASKS))
    intervals = {task: Intervals.joined([t.intervals[task] for t in told]) for task in TASKS}
    care = {task: Care.joined([t.care[task] for t in told]) for task in TASKS}
    accessed = Spans(*(np.concatenate(p) for p in zip(*(t.accessed for t in told), strict=True)))
    skin = entries_that_hold(coded.entries, policy.on(as_of).codes_marked(FindingMark.SKIN_EVENT))
    return Timeline(
        as_of=as_of,
        lines=_lines_frame(coded, care[Task.DRESSING]),
        home_spells=spells_frame(axis, home)[HOME_SPELLS.names],
        accessed_spells=_accessed_frame(axis, accessed),
        intervals=_intervals_frame(coded, intervals)[INTERVALS.names],
        care=_care_frame(coded.entries, care)[CARE.names],
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


def _lines_frame(coded: Coded, dressing: Care) -> pd.DataFrame:
    lines, home = coded.lines, coded.home
    unknown = dressing.state == STATES.index(State.UNKNOWN)
    frame = lines.frame.assign(
        line=np.arange(len(lines.child), dtype=np.int64),
        family=lines.family,
        end_on=_dates(lines.end_on),
        at_home=home.at_home,
        home_line_days=home.days,
        unknown_since=_dates(np.where(unknown, last_return(coded.axis, lines, home), NEVER)),
    )
    return frame[HOME_LINES.names]


def _accessed_frame(axis: Axis, accessed: Spans) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "line": line_of(accessed.start),
            "start_on": dates_of(axis.day(accessed.start)),
            "end_on": _dates(
                np.where(axis.day(accessed.end) > axis.as_of, NEVER, axis.day(accessed.end))
            ),
        }
    )[ACCESSED_SPELLS.names]


def _intervals_frame(coded: Coded, by_task: Mapping[Task, Intervals]) -> pd.DataFrame:
    axis, entries = coded.axis, coded.entries
    found = Intervals.joined(list(by_task.values()))
    reported_on = np.full(len(found.line), NO_DAY, dtype=np.int64)
    was_reported = found.reported >= 0
    reported_on[was_reported] = entries.day[found.reported[was_reported]]
    return pd.DataFrame(
        {
            "line": found.line,
            "task": _task_column({t: len(i.line) for t, i in by_task.items()}),
            "start_on": dates_of(axis.day(found.key)),
            "row": entries.rows(found.source),
            "by_home": found.by_home,
            "dressing_type": words_of(found.dressing_type, DRESSING_TYPES),
            "interval_days": pd.arrays.IntegerArray(found.interval_days, found.interval_days < 0),
            "home_on": dates_of(found.home_on),
            "due_on": _dates(found.due_on),
            "allowed_until": _dates(found.allowed_until),
            "reported_on": dates_of(reported_on),
            "report_row": entries.rows(found.reported),
            "end_on": dates_of(found.end_on),
            "end_row": entries.rows(found.end_source),
            "ended_by": words_of(found.ended_by, ENDED_BY),
            "scored": found.scored,
            "on_time": found.on_time,
            "late_days": found.late_days,
            "in_date_days": found.in_date_days,
            "out_of_date_days": found.out_of_date_days,
        }
    )


def _care_frame(entries: Entries, by_task: Mapping[Task, Care]) -> pd.DataFrame:
    care = Care.joined(list(by_task.values()))
    return pd.DataFrame(
        {
            "line": care.line,
            "task": _task_column({t: len(c.line) for t, c in by_task.items()}),
            "in_date_days": care.in_date_days,
            "out_of_date_days": care.out_of_date_days,
            "unscored_days": care.unscored_days,
            "not_accessed_days": care.not_accessed_days,
            "intervals_scored": care.intervals_scored,
            "intervals_on_time": care.intervals_on_time,
            "state": words_of(care.state, STATES),
            "last_change_on": _dates(care.last_change_on),
            "allowed_until": _dates(care.allowed_until),
            "days_overdue": care.days_overdue,
            "change_row": entries.rows(care.change),
            "report_row": entries.rows(care.report),
        }
    )


def _task_column(lengths: Mapping[Task, int]) -> pd.Categorical:
    codes = [TASKS.index(task) for task in lengths]
    return words_of(np.repeat(np.array(codes, dtype=np.int8), list(lengths.values())), TASKS)


def _dates(days: Ints) -> npt.NDArray[np.datetime64]:
    return dates_of(np.where(days == NEVER, NO_DAY, days))
