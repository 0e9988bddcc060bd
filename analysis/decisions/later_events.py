"""Which events came later that a call in time might have prevented or softened?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, dates_of, days_of
from analysis.tables.backtest import LATER_EVENTS
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import PLANNED_REMOVALS, RemovalReason, Task

SKIN_EVENT, UNPLANNED_REMOVAL = "skin_event", "unplanned_removal"
THREE_DAYS_OUT = "three_days_out_of_date"
OUT_OF_DATE_DAYS = 3


def later_events(timeline: Timeline, records: Records) -> pd.DataFrame:
    """Return skin events, unplanned removals and dressings three days out of date, at home.

    - Skin events attributed to home, on the day of the first finding.
    - Removals for any reason but therapy complete, planned exchange or death (a blank reason is
      unknown), at the end of a time at home.
    - Dressing intervals with at least three out-of-date days, on the third of them: once an
      interval, however long it goes on. It lies within the 7 days of a morning when three of
      its out-of-date days do, so also on later mornings while it goes on.

    Parameters
    ----------
    timeline : Timeline
        As of a day after all mornings looked at, by all that is known by now.
    records : Records
        The records it was made from.

    Returns
    -------
    DataFrame
        Columns of `LATER_EVENTS`, by day, family and line.
    """
    lines = timeline.lines
    skin = timeline.skin_events[timeline.skin_events["at_home"].to_numpy()]
    spells = timeline.home_spells
    removed = spells[(spells["ended_by"] == "removal").to_numpy()]
    reason = records.lines.set_index("line_id")["removal_reason"].astype("string")
    why = lines["line_id"].map(reason).fillna(str(RemovalReason.UNKNOWN))
    planned = why.isin([str(r) for r in (*PLANNED_REMOVALS, RemovalReason.DEATH)]).to_numpy()
    removed = removed[~planned[removed["line"].to_numpy()]]
    spans = timeline.intervals
    late = spans[
        ((spans["task"] == Task.DRESSING) & (spans["out_of_date_days"] >= OUT_OF_DATE_DAYS))
    ]
    since = np.maximum(days_of(late["allowed_until"]), days_of(late["home_on"]))
    begun, gone = days_of(skin["onset_on"]), days_of(removed["end_on"])
    out = since + OUT_OF_DATE_DAYS - 1
    kind = np.repeat(
        [SKIN_EVENT, UNPLANNED_REMOVAL, THREE_DAYS_OUT], [len(begun), len(gone), len(out)]
    )
    line = np.concatenate([f["line"].to_numpy() for f in (skin, removed, late)]).astype(np.int64)
    day = np.concatenate([begun, gone, out])
    last = np.concatenate([begun, gone, days_of(late["end_on"]) - OUT_OF_DATE_DAYS])
    assert not (day == NO_DAY).any()
    frame = pd.DataFrame(
        {
            "family_id": lines["family_id"].array.take(line),
            "line_id": lines["line_id"].array.take(line),
            "event": pd.Categorical(kind),
            "on": dates_of(day),
            "last_morning": dates_of(last),
        }
    )
    types = {"family_id": "string", "line_id": "string"}
    return LATER_EVENTS.check(
        frame.astype(types).sort_values(["on", "family_id", "line_id", "event"], ignore_index=True)
    )
