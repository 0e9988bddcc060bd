"""A timeline becomes its tallies."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.policy import Policy
from analysis.tallies.days import day_tally
from analysis.tallies.events import event_onsets, event_tally
from analysis.tallies.pieces import DressingInForce, of_task
from analysis.timeline import Timeline
from analysis.vocabulary import Task


@dataclass(frozen=True)
class Tallies:
    """Counts by line that add up; frames as in `analysis.tables.timeline`."""

    lines: pd.DataFrame
    """`HOME_LINES`: what a line can be grouped by."""
    days: pd.DataFrame
    """`TALLY`"""
    events: pd.DataFrame
    """`EVENT_TALLY`"""
    onsets: pd.DataFrame
    """`EVENT_ONSETS`: the events that `events` counts, one by one."""
    coverage_floor: float
    """Log coverage below which the policy lets no rate be judged."""


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
        coded.axis, coded.lines, of_task(timeline.intervals, Task.DRESSING)
    )
    onsets = event_onsets(timeline, coded, policy)
    settings = policy.on(timeline.as_of).settings
    return Tallies(
        lines=timeline.lines,
        days=day_tally(timeline, coded, policy, dressing),
        events=event_tally(onsets, coded, settings.age_band_starts, dressing),
        onsets=onsets,
        coverage_floor=settings.coverage_floor,
    )
