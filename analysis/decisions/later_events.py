"""Which events came later that a call in time might have prevented or softened?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, dates_of, days_of
from analysis.tables.backtest import LATER_EVENTS
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import PLANNED_REMOVALS, OutcomeKind, RemovalReason, Task

SKIN_EVENT, UNPLANNED_REMOVAL = "skin_event", "unplanned_removal"
INFECTION = str(OutcomeKind.BLOODSTREAM_INFECTION)
THREE_DAYS_OUT = "three_days_out_of_date"
HARM, PROCESS = "harm", "process"
KINDS = {HARM: (SKIN_EVENT, UNPLANNED_REMOVAL, INFECTION), PROCESS: (THREE_DAYS_OUT,)}
"""What a call list is judged by: harm first, and care that lapses apart from it."""
OUT_OF_DATE_DAYS = 3


def later_events(timeline: Timeline, records: Records) -> pd.DataFrame:
    """Return harm at home, and dressings that become three days out of date.

    - Skin events attributed to home, on the day of the first finding.
    - Removals for any reason but therapy complete, planned exchange or death (a blank reason is
      unknown), at the end of a time at home.
    - Bloodstream infections confirmed by the clinic, on the day of onset, repeats counted once.
    - Dressing intervals with at least three out-of-date days, on the third of them: once an
      interval, however long it goes on. It counts only for mornings on which the interval is not
      yet overdue: being overdue already is no later event.

    Parameters
    ----------
    timeline : Timeline
        As of a day after all mornings replayed, by all that is known by now.
    records : Records
        The records it was made from.

    Returns
    -------
    DataFrame
        Columns of `LATER_EVENTS`, by day, family and line.

    *Source:* project definition, definitions §8.
    """
    lines = timeline.lines
    skin = timeline.skin_events[timeline.skin_events["at_home"].to_numpy()]
    periods = timeline.home_periods
    removed = periods[(periods["ended_by"] == "removal").to_numpy()]
    reason = records.lines.set_index("line_id")["removal_reason"].astype("string")
    why = lines["line_id"].map(reason).fillna(str(RemovalReason.UNKNOWN))
    planned = why.isin([str(r) for r in (*PLANNED_REMOVALS, RemovalReason.DEATH)]).to_numpy()
    removed = removed[~planned[removed["line"].to_numpy()]]
    spans = timeline.intervals
    late = spans[
        ((spans["task"] == Task.DRESSING) & (spans["out_of_date_days"] >= OUT_OF_DATE_DAYS))
    ]
    since = np.maximum(days_of(late["allowed_until"]), days_of(late["home_on"]))
    confirmed = timeline.outcome_events
    is_infection = (confirmed["outcome"] == INFECTION) & confirmed["at_home"]
    confirmed = confirmed[is_infection.to_numpy(dtype=bool)]
    begun, gone = days_of(skin["onset_on"]), days_of(removed["end_on"])
    infected = days_of(confirmed["onset_on"])
    out = since + OUT_OF_DATE_DAYS - 1
    kind = np.repeat(
        [SKIN_EVENT, UNPLANNED_REMOVAL, INFECTION, THREE_DAYS_OUT],
        [len(begun), len(gone), len(infected), len(out)],
    )
    found = (skin, removed, confirmed, late)
    line = np.concatenate([f["line"].to_numpy() for f in found]).astype(np.int64)
    day = np.concatenate([begun, gone, infected, out])
    last = np.concatenate([begun, gone, infected, since])
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
