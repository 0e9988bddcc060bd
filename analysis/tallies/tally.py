"""A timeline becomes its tallies."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, dates_of
from analysis.policy import Policy
from analysis.tables.timeline import TALLY_LINES
from analysis.tallies.days import day_tally
from analysis.tallies.events import event_onsets, event_tally
from analysis.tallies.pieces import DressingInForce, of_task
from analysis.timeline import Timeline
from analysis.timeline.axis import Ints, line_of, starts_of_runs
from analysis.timeline.build import Coded
from analysis.vocabulary import Task


@dataclass(frozen=True)
class Tallies:
    """Counts by line that add up; frames as in `analysis.tables.timeline`."""

    lines: pd.DataFrame
    """`TALLY_LINES`: what days and events can be grouped by."""
    days: pd.DataFrame
    """`TALLY`"""
    events: pd.DataFrame
    """`EVENT_TALLY`"""
    onsets: pd.DataFrame
    """`EVENT_ONSETS`: the events that `events` counts, one by one."""
    coverage_floor: float
    """Log coverage below which the policy lets no rate be judged."""
    row_of_holder: Ints
    """Row of `lines` by holder of the timeline (`Attributes.holder`); -1: counted nowhere."""

    @cached_property
    def found(self) -> dict[Hashable, Any]:
        """What measures found of these counts, by question."""
        return {}


def of_lines(tallies: Tallies, wanted: Mapping[str, str]) -> Tallies:
    """Only the counts of lines with these values, such as ``{"site": "north"}``.

    A line that changed its site or nurse counts for each while it was there.
    """
    keep = np.ones(len(tallies.lines), dtype=bool)
    for column, value in wanted.items():
        keep &= (tallies.lines[column].astype("string") == value).to_numpy(bool, na_value=False)

    def kept(cells: pd.DataFrame) -> pd.DataFrame:
        return cells[keep[cells["line"].to_numpy(dtype=np.int64)]].reset_index(drop=True)

    row = tallies.row_of_holder
    return replace(
        tallies,
        days=kept(tallies.days),
        events=kept(tallies.events),
        onsets=kept(tallies.onsets),
        row_of_holder=np.where((row >= 0) & keep[row], row, -1),
    )


def of_sites(tallies: Tallies, sites: Collection[str]) -> Tallies:
    """The tallies as if nothing had been counted but at these sites.

    A line that changed its site counts for the days on which it was at one of them.
    """
    here = tallies.lines["site"].isin(list(sites)).to_numpy(bool, na_value=False)
    if here.all():
        return tallies
    row = np.where(here, np.cumsum(here) - 1, -1)
    lines = tallies.lines[here].assign(line=np.arange(np.count_nonzero(here), dtype=np.int64))

    def kept(cells: pd.DataFrame) -> pd.DataFrame:
        of = row[cells["line"].to_numpy(dtype=np.int64)]
        return cells.assign(line=of)[of >= 0].reset_index(drop=True)

    return replace(
        tallies,
        lines=lines.reset_index(drop=True),
        days=kept(tallies.days),
        events=kept(tallies.events),
        onsets=kept(tallies.onsets),
        row_of_holder=row[tallies.row_of_holder],
    )


def tally(timeline: Timeline, policy: Policy) -> Tallies:
    """Count days, intervals and events by line, month, dressing type and age band.

    Parameters
    ----------
    timeline : Timeline
        As built by the same `policy`.
    policy : Policy
        Age bands and the gap of episodes follow the edition in force on the as-of day, the
        limit of silence that of each day.

    Returns
    -------
    Tallies
        A scored interval counts in the month, dressing type and age band of the last day it
        covers; an event in those of its onset. Onsets on or after the as-of day do not count.

    *Source:* project definition, definitions §1, §3 to §5.
    """
    coded = timeline.coded
    dressing = DressingInForce.of(
        coded.axis, coded.attributes, of_task(timeline.intervals, Task.DRESSING)
    )
    onsets = event_onsets(timeline, coded, policy)
    settings = policy.on(timeline.as_of).settings
    lines = tally_lines(timeline)
    return Tallies(
        lines=lines,
        days=day_tally(timeline, coded, policy, dressing),
        events=event_tally(onsets, coded, settings.age_band_starts, dressing),
        onsets=onsets,
        coverage_floor=settings.coverage_floor,
        row_of_holder=np.arange(len(lines), dtype=np.int64),
    )


def tally_lines(timeline: Timeline) -> pd.DataFrame:
    """Make the frame `TALLY_LINES`."""
    coded = timeline.coded
    attributes = coded.attributes
    first = np.flatnonzero(starts_of_runs(attributes.holder))
    key = attributes.start[first]
    line = line_of(key)
    lines = timeline.lines.iloc[line].reset_index(drop=True)
    held = coded.lines.times
    on_axis = held.iloc[np.searchsorted(_packed(coded, held), key, side="right") - 1]
    family = attributes.family[first]
    held_from = np.where(starts_of_runs(line), NO_DAY, coded.axis.day(key))
    return lines.assign(
        line=np.arange(len(lines), dtype=np.int64),
        family=family,
        family_id=coded.lines.family_ids.array.take(family),
        **{name: on_axis[name].array for name in ("site", "nurse")},
        held_from=dates_of(held_from),
    )[TALLY_LINES.names]


def _packed(coded: Coded, times: pd.DataFrame) -> Ints:
    start = np.maximum(times["start"].to_numpy(dtype=np.int64), coded.axis.base)
    return coded.axis.pack(times["line"].to_numpy(dtype=np.int64), start)
