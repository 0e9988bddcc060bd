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
from analysis.exports.pseudonyms import Key
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


def closed(seen: Snapshot, key: Key) -> Snapshot:
    """The snapshot with the days before its as-of day alone, however late they were reported.

    Rows of later days are gone, a removal, return or order that came later is blank or as it
    was before. Each child's follow-up ends on a day of its own before that, as if the family had
    left the programme then: a day that all children share would give away how each one's dates
    were moved.
    """
    ends = pd.Series(seen.records.lines["child_id"].unique(), dtype="string")
    cut = pd.to_timedelta(key.days_cut(ends), unit="D")
    own = pd.Series((pd.Timestamp(seen.as_of) - cut).to_numpy(), index=ends)
    return replace(seen, records=days_before(seen.records, seen.as_of, seen.policy.zone, own))


def days_before(
    records: Records, end: date, zone: ZoneInfo, own: pd.Series[Any] | None = None
) -> Records:
    """The records with rows and dates before a day alone.

    Parameters
    ----------
    records : Records
        As known at any time.
    end : date
        The first day of which nothing is left.
    zone : ZoneInfo
        The programme's time zone, for what held of a line.
    own : Series, optional
        The first day of which nothing is left of each child, by `child_id`; lines that are still
        followed then leave on it.
    """
    left: dict[str, Any] = {}
    for name, begins in BEGINS.items():
        frame: pd.DataFrame = getattr(records, name)
        day = _ends_of(frame, records, end, own)
        is_before = (frame[begins] < day).to_numpy(dtype=bool)
        rows, day = frame[is_before].reset_index(drop=True), day[is_before].reset_index(drop=True)
        blank = {c: rows[c].where(rows[c] < day) for c in LATER.get(name, ())}
        left[name] = rows.assign(**blank)
        if name == "lines" and own is not None:
            followed = left[name]["removed_on"].isna() & left[name]["left_on"].isna()
            left[name]["left_on"] = left[name]["left_on"].mask(followed, day)
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


def _ends_of(
    frame: pd.DataFrame, records: Records, end: date, own: pd.Series[Any] | None
) -> pd.Series[Any]:
    """The first day of which nothing is left, of each row; a family's is the first of its children's."""
    day = pd.Series(pd.Timestamp(end), index=frame.index)
    if own is None:
        return day
    lines = records.lines
    if "child_id" in frame.columns:
        found = frame["child_id"].map(own)
    else:
        family = frame.get("family_id")
        if family is None:
            of_caregiver = records.caregivers.set_index("caregiver_id")["family_id"]
            family = frame["caregiver_id"].map(of_caregiver)
        found = family.map(lines["child_id"].map(own).groupby(lines["family_id"]).min())
        if "line_id" in frame.columns:
            child = lines.drop_duplicates("line_id").set_index("line_id")["child_id"]
            found = frame["line_id"].map(child).map(own).fillna(found)
    return found.astype(day.dtype).fillna(day)
