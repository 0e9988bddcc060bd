"""How many skin events does a line gather as it stays in place?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import days_of
from analysis.stats.recurrent import cluster_squares, count_table, mean_count
from analysis.tables.statistics import MEAN_COUNT
from analysis.timeline import Timeline


def skin_course(timeline: Timeline) -> pd.DataFrame:
    """Mean cumulative number of skin events a line by day in place, with robust limits.

    A line is at risk on its home line-days; the day of placement is day 1. An event on the day
    a home period ends counts on the last home line-day before it.

    Parameters
    ----------
    timeline : Timeline
        As of a day.

    Returns
    -------
    DataFrame
        MEAN_COUNT, one row a day with an event; limits are adjusted for repeat events in a family.

    *Source:* as `stats.recurrent` describes; attribution as in definitions §5.
    """
    periods, lines = timeline.home_periods, timeline.lines
    if not len(periods):
        return MEAN_COUNT.empty()
    placed = days_of(lines["placed_on"])
    family = lines["family"].to_numpy(dtype=np.int64)
    of_period = periods["line"].to_numpy(dtype=np.int64)
    start = days_of(periods["start_on"]) - placed[of_period]
    stop = days_of(periods["end_on"]) - placed[of_period]
    skin = timeline.skin_events
    counted = skin["at_home"] & (skin["onset_on"] < pd.Timestamp(timeline.as_of))
    skin = skin[counted.to_numpy(dtype=bool)]
    of_event = skin["line"].to_numpy(dtype=np.int64)
    day = days_of(skin["onset_on"]) - placed[of_event] + 1
    day = np.minimum(day, _last_home_day(of_period, start, stop, of_event, day))
    table = count_table(start, stop, day)
    squares = cluster_squares(table, start, stop, family[of_period], day, family[of_event])
    found = mean_count(table, squares, clusters=len(np.unique(family[of_period])))
    shown = found.events > 0
    course = pd.DataFrame(
        {
            "day": found.day[shown],
            "at_risk": found.at_risk[shown],
            "events": found.events[shown],
            "mean_count": found.mean[shown],
            "lower": found.lower[shown],
            "upper": found.upper[shown],
        }
    )
    return MEAN_COUNT.check(course)


def _last_home_day(
    of_period: np.ndarray[tuple[int], np.dtype[np.int64]],
    start: np.ndarray[tuple[int], np.dtype[np.int64]],
    stop: np.ndarray[tuple[int], np.dtype[np.int64]],
    of_event: np.ndarray[tuple[int], np.dtype[np.int64]],
    day: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Last day of the newest period that began before each event's day."""
    width = int(max(stop.max(initial=0), day.max(initial=0))) + 2
    order = np.argsort(of_period * width + start)
    at = (
        np.searchsorted((of_period * width + start)[order], of_event * width + day, side="left") - 1
    )
    return stop[order][at]
