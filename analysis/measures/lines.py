"""Is care of each line in date, how often was it, and how is it today?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.tables.measures import LINE_TABLE
from analysis.timeline import Timeline
from analysis.vocabulary import Task


def line_table(timeline: Timeline, task: Task) -> pd.DataFrame:
    """One row a line with its days by class, intervals and state of one task.

    Parameters
    ----------
    timeline : Timeline
        As of a day.
    task : Task
        ``needle`` lists implanted ports only.

    Returns
    -------
    DataFrame
        LINE_TABLE, in order of family, child and line.

    *Source:* project definition, definitions §1–5.
    """
    care = timeline.care[timeline.care["task"] == task]
    frame = timeline.lines.merge(care, on="line")
    heard = timeline.families[["family", "last_heard_on", "silent_days"]]
    frame = frame.merge(heard, on="family").sort_values("line", ignore_index=True)
    skin = timeline.skin_events
    counted = skin["at_home"] & (skin["onset_on"] < pd.Timestamp(timeline.as_of))
    events = np.bincount(
        skin.loc[counted.to_numpy(dtype=bool), "line"].to_numpy(dtype=np.int64),
        minlength=len(timeline.lines),
    )
    frame["skin_events"] = events[frame["line"].to_numpy(dtype=np.int64)]
    return LINE_TABLE.check(frame)
