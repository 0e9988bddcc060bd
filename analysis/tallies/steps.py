"""How many line-days has each family in each quarter of a month, and which event began in it?

Finer than the tallies by month: surveillance reads its counts four times a month.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.days import date_at, days_of
from analysis.tallies.pieces import days_of_child, month_of, sums
from analysis.tallies.tally import Tallies
from analysis.timeline import Timeline
from analysis.timeline.axis import Axis, Ints, Spans, days_covered, numbered
from analysis.timeline.build import Coded

FIRST_DAYS = (0, 7, 14, 21)
"""Days of a month with which its steps begin, from 0; the last step has 7 to 10 days."""


@dataclass(frozen=True)
class StepDays:
    """Line-days by family and step; a family that changed its site has one row a site."""

    site: pd.Series[str]
    """Site of each row, as the files had it; rows are in its order."""
    family: Ints
    """Position of the family of each row."""
    row_of_holder: Ints
    """Row of each line of `TALLY_LINES`."""
    first_day: int
    """First home line-day, since 1970; without any the as-of day."""
    begins: Ints
    """Day since 1970 with which each step begins."""
    months: tuple[str, ...]
    """Month of each step, ``2031-03``."""
    home: Ints
    """Shape (rows, steps): home line-days."""
    heard: Ints
    """Home line-days on which the family was not silent."""
    child: Ints
    """Home line-days, a child's day once."""

    def step_of(self, day: Ints) -> Ints:
        """Step of each day since 1970; -1: before the first."""
        return np.searchsorted(self.begins, day, side="right") - 1


def step_days(timeline: Timeline, tallies: Tallies, heard: Spans) -> StepDays:
    """Count line-days by family, site and step from the first day at home to the as-of day.

    `heard` are the days of lines on which their family was not silent.

    *Source:* project definition, definitions §1, §4 and §9.
    """
    coded = timeline.coded
    axis, lines = coded.axis, coded.lines
    periods = coded.home.periods
    counted = counted_periods(coded, tallies)
    first = axis.day(counted.start).min(initial=axis.as_of)
    begins = _begins(int(first), axis.as_of)
    held = tallies.lines[["site", "family"]]
    keys = held.assign(site=held["site"].astype("string").fillna(""))
    rows = keys.drop_duplicates().sort_values(["site", "family"], ignore_index=True)
    row_of = pd.MultiIndex.from_frame(rows).get_indexer(pd.MultiIndex.from_frame(keys))
    pieces = _stepped(axis, counted, begins)
    step = np.searchsorted(begins, axis.day(pieces.start), side="right") - 1
    holder = coded.attributes.holder[coded.attributes.on(pieces.start)]
    row = np.asarray(row_of, np.int64)[tallies.row_of_holder[holder]]
    place = row * len(begins) + step

    def by_row(counts: Ints) -> Ints:
        return sums(place, len(rows) * len(begins), counts).reshape(len(rows), len(begins))

    child = days_of_child(axis, lines, periods)
    return StepDays(
        site=rows["site"].astype("string"),
        family=rows["family"].to_numpy(dtype=np.int64),
        first_day=int(first),
        row_of_holder=np.asarray(row_of, dtype=np.int64),
        begins=begins,
        months=tuple(f"{date_at(int(day)):%Y-%m}" for day in begins),
        home=by_row(pieces.end - pieces.start),
        heard=by_row(days_covered(heard, pieces.start, pieces.end)),
        child=by_row(days_covered(child, pieces.start, pieces.end)),
    )


def counted_periods(coded: Coded, tallies: Tallies) -> Spans:
    """Home line-days that the tallies count, cut where what is held of a line changes."""
    pieces = coded.attributes.pieces(coded.home.periods)
    holder = coded.attributes.holder[coded.attributes.on(pieces.start)]
    counted = tallies.row_of_holder[holder] >= 0
    return Spans(pieces.start[counted], pieces.end[counted])


def step_events(steps: StepDays, places: Ints) -> Ints:
    """Events by row and step, shape (rows, steps), of their places."""
    counted = np.bincount(places, minlength=steps.home.size)
    return np.asarray(counted, dtype=np.int64).reshape(steps.home.shape)


def step_places(steps: StepDays, tallies: Tallies, event: str) -> Ints:
    """Place of each event at home in an array of all rows and steps, row after row."""
    onsets = tallies.onsets
    ours = ((onsets["event"] == event) & onsets["at_home"]).to_numpy(dtype=bool)
    row = steps.row_of_holder[onsets["line"].to_numpy(dtype=np.int64)[ours]]
    step = steps.step_of(days_of(onsets.loc[ours, "onset_on"]))
    inside = step >= 0
    return row[inside] * np.int64(steps.home.shape[1]) + step[inside]


def _begins(first: int, as_of: int) -> Ints:
    """Days with which steps begin, from the month of the first day to the as-of day."""
    months = np.arange(month_of(np.array([first]))[0], month_of(np.array([as_of]))[0] + 1)
    month_begins = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    begins = (month_begins[:, None] + np.array(FIRST_DAYS)).ravel()
    return np.asarray(begins[begins < max(as_of, first + 1)])


def _stepped(axis: Axis, pieces: Spans, begins: Ints) -> Spans:
    """Cut pieces where a step begins."""
    # Before: one row a piece; after: one row a piece and step.
    day = axis.day(pieces.start)
    length = pieces.end - pieces.start
    first = np.searchsorted(begins, day, side="right") - 1
    count = np.searchsorted(begins, day + length - 1, side="right") - first
    of = np.repeat(np.arange(len(first), dtype=np.int64), count)
    step = first[of] + numbered(count)
    bounds = np.append(begins, axis.later + 1)
    start = np.maximum(bounds[step] - day[of], 0)
    end = np.minimum(bounds[step + 1] - day[of], length[of])
    return Spans(pieces.start[of] + start, pieces.start[of] + end)
