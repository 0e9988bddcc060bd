"""What do the records hold of the days before one day, and of nothing later?

An extract that leaves the team ends with a closed quarter, so that of two extracts neither shows
days that the other is about to add to.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from analysis.days import day_number
from analysis.snapshot import Snapshot
from analysis.tables.records import Records
from analysis.timeline.versions import DATED, times_of

BEGINS = {
    "lines": "home_from",
    "stays": "from_on",
    "sign_offs": "signed_on",
    "home_log": "done_on",
    "outcomes": "onset_on",
}
"""The day from which a row of each table speaks."""
LATER = {
    "lines": ("removed_on", "left_on", "dressing_on", "valid_from"),
    "stays": ("to_on", "dressing_on"),
    "outcomes": ("confirmed_on",),
}
"""Days of a row that may come after it, and are blank until then."""


def closed(seen: Snapshot) -> Snapshot:
    """The snapshot with the days before its as-of day alone, however late they were reported.

    Rows of later days are gone, a removal, return or order that came later is blank or as it
    was before.
    """
    return replace(seen, records=days_before(seen.records, seen.as_of, seen.policy.zone))


def days_before(records: Records, end: date, zone: ZoneInfo) -> Records:
    """The records with rows and dates before a day alone.

    Parameters
    ----------
    records : Records
        As known at any time.
    end : date
        The first day of which nothing is left.
    zone : ZoneInfo
        The programme's time zone, for what held of a line.
    """
    day = pd.Timestamp(end)
    left: dict[str, Any] = {}
    for name, begins in BEGINS.items():
        frame: pd.DataFrame = getattr(records, name)
        rows = frame[(frame[begins] < day).to_numpy(dtype=bool)].reset_index(drop=True)
        blank = {c: rows[c].where(rows[c] < day) for c in LATER.get(name, ())}
        left[name] = rows.assign(**blank)
    lines = left["lines"]
    is_removed = lines["removed_on"].notna()
    held = times_of(records, lines["line_id"], day_number(end) - 1, zone)
    held = held.drop_duplicates("line_id", keep="last").set_index("line_id")
    held = held.loc[lines["line_id"].to_numpy()]
    left["lines"] = lines.assign(
        removal_reason=lines["removal_reason"].where(is_removed),
        **{name: held[name].array for name in DATED},
    )
    return replace(records, **left)
