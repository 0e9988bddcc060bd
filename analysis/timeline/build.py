"""Records of a programme become its timeline as of one day."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property, partial
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.days import date_at, day_number, days_of
from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.timeline import ACCESSED_PERIODS, CARE, INTERVALS
from analysis.timeline import frames
from analysis.timeline.attributes import Attributes
from analysis.timeline.axis import Axis, Ints, Spans
from analysis.timeline.care import Intervals, Rule, intervals_of
from analysis.timeline.coded import (
    Entries,
    Lines,
    Outcomes,
    Stays,
    code_entries,
    code_lines,
    code_outcomes,
    code_stays,
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
from analysis.timeline.families import silence
from analysis.timeline.home import Home, find_home
from analysis.timeline.state import Care, care_of
from analysis.vocabulary import FindingMark, Task


@dataclass(frozen=True)
class Timeline:
    """Everything known of each line and family as of one day.

    The frames are described in `analysis.tables.timeline` under the same names.
    """

    as_of: date
    find_coded: Callable[[], Coded]
    """Gives `coded`."""
    lines: pd.DataFrame
    home_periods: pd.DataFrame
    accessed_periods: pd.DataFrame
    intervals: pd.DataFrame
    care: pd.DataFrame
    skin_events: pd.DataFrame
    outcome_events: pd.DataFrame
    families: pd.DataFrame

    @cached_property
    def coded(self) -> Coded:
        """The records as numbers, which the frames were made from."""
        return self.find_coded()


@dataclass(frozen=True)
class Coded:
    """Records of a programme as numbers on one axis, and who was where."""

    axis: Axis
    lines: Lines
    attributes: Attributes
    find_entries: Callable[[], Entries]
    """Gives `entries`."""
    stays: Stays
    outcomes: Outcomes
    home: Home

    @cached_property
    def entries(self) -> Entries:
        """The home log; most of the work, so it is done for who asks."""
        return self.find_entries()


@dataclass(frozen=True)
class BlockCare:
    """Intervals and care of a block of lines, by task."""

    block: Block
    accessed: Spans
    intervals: dict[Task, Intervals]
    care: dict[Task, Care]


def code(records: Records, as_of: date, zone: ZoneInfo) -> Coded:
    """Turn records into numbers, cut at the as-of day."""
    day = day_number(as_of)
    lines = code_lines(records, day, zone)
    stays = code_stays(records, lines, day)
    outcomes = code_outcomes(records, lines, day)
    axis = Axis.around(
        day,
        (
            lines.placed_on,
            lines.home_from,
            lines.dressing_on,
            days_of(records.home_log["done_on"]),
            stays.from_on,
            stays.dressing_on,
            outcomes.onset_on,
        ),
    )
    attributes = Attributes.of(axis, lines)
    entries = partial(_entries, records, axis, lines, attributes)
    home = find_home(axis, lines, stays)
    return Coded(axis, lines, attributes, entries, stays, outcomes, home)


def _entries(records: Records, axis: Axis, lines: Lines, attributes: Attributes) -> Entries:
    """The entries, each of the family that its line belonged to on its day."""
    entries = code_entries(records, lines, axis.as_of)
    if attributes.one_a_line:
        return entries
    of_line = entries.line >= 0
    family = entries.family.copy()
    key = axis.pack(entries.line[of_line], entries.day[of_line])
    family[of_line] = attributes.family[attributes.on(key)]
    return replace(entries, family=family)


def build(
    records: Records, policy: Policy, as_of: date, moved: pd.Series[int] | None = None
) -> Timeline:
    """Calculate home line-days, care intervals, states and events as of a day.

    A pure function of the records of whole families: rows may come in any order, and the
    timelines of two sets of families, one after the other, are the timeline of both.

    Parameters
    ----------
    records : Records
        Newest version of every row as known at one time. Dates after `as_of` are cut here:
        a removal, return or stay in the future has not happened yet, and a line
        placed later is not there yet.
    policy : Policy
        An interval follows the edition in force on the day of its change; limits and states
        follow the edition in force on the as-of day.
    as_of : date
        Read in its morning: the days that count are before it, entries up to it are known.
    moved : Series, optional
        By line code, days by which the dates of its records are later than they were written:
        the edition of a change is that of the day written.

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
    coded = code(records, as_of, policy.zone)
    axis, lines = coded.axis, coded.lines
    intervals: dict[Task, list[frames.Columns]] = {task: [] for task in frames.TASKS}
    care: dict[Task, list[frames.Columns]] = {task: [] for task in frames.TASKS}
    accessed: list[frames.Columns] = []
    by_line: Ints | None = None
    if moved is not None:
        by_line = np.asarray(moved.reindex(lines.frame["line_id"]), dtype=np.int64)
    for part in by_block(coded, policy, frames.TASKS, by_line):
        accessed.append(frames.accessed_columns(axis, part.accessed))
        for task in frames.TASKS:
            intervals[task].append(frames.interval_columns(coded, task, part.intervals[task]))
            care[task].append(frames.care_columns(coded.entries, task, part.care[task]))
    return of_parts(
        coded,
        policy,
        accessed_periods=frames.frame_of(ACCESSED_PERIODS, accessed),
        intervals=frames.frame_of(INTERVALS, [c for task in frames.TASKS for c in intervals[task]]),
        care=frames.frame_of(CARE, [c for task in frames.TASKS for c in care[task]]),
    )


def of_parts(
    coded: Coded,
    policy: Policy,
    accessed_periods: pd.DataFrame,
    intervals: pd.DataFrame,
    care: pd.DataFrame,
) -> Timeline:
    """Put the care of all lines, and what is quickly found of all at once, together."""
    axis, lines, home = coded.axis, coded.lines, coded.home
    edition = policy.on(date_at(axis.as_of))
    settings = edition.settings
    skin = entries_that_hold(coded.entries, edition.codes_marked(FindingMark.SKIN_EVENT))
    return Timeline(
        as_of=date_at(axis.as_of),
        find_coded=lambda: coded,
        lines=frames.lines_frame(coded, care[(care["task"] == Task.DRESSING).to_numpy()]),
        home_periods=frames.periods_frame(axis, home),
        accessed_periods=accessed_periods,
        intervals=intervals,
        care=care,
        skin_events=frames.skin_frame(
            finding_events(axis, home, coded.entries, skin, settings.episode_gap_days)
        ),
        outcome_events=frames.outcomes_frame(
            outcome_events(axis, lines, home, coded.outcomes, settings.infection_repeat_days)
        ),
        families=frames.families_frame(lines.family_ids, silence(coded, policy)),
    )


def by_block(
    coded: Coded, policy: Policy, tasks: Sequence[Task], moved: Ints | None = None
) -> Iterator[BlockCare]:
    """Yield the care of each block of lines; only one block is in memory at a time.

    `moved` is by line, as for :func:`build`.
    """
    axis, lines, entries, home = coded.axis, coded.lines, coded.entries, coded.home
    by_clinic = done_by_clinic(axis, lines, coded.stays)
    rules = {task: Rule.of(policy, task, coded.attributes, moved) for task in tasks}
    for block in blocks_of(axis, lines, entries):
        accessed = accessed_spans(axis, lines, block)
        part = BlockCare(block, accessed, {}, {})
        for task in tasks:
            reports = None
            if task is Task.DRESSING:
                reports = reports_of(axis, lines, block, home)
            changes = changes_of(task, lines, block, accessed, by_clinic)
            found = intervals_of(
                axis,
                lines,
                coded.attributes,
                home,
                entries,
                block,
                changes,
                rules[task],
                accessed if task in PORT_TASKS else None,
                reports,
            )
            part.intervals[task] = found
            part.care[task] = care_of(axis, task, lines, home, block, found, accessed)
        yield part
