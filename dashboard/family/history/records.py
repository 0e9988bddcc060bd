"""What is known of one family, and which columns do its spans and marks have?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from dashboard.layout.words import plain

SPANS = ["group", "track", "kind", "start_on", "end_on", "label", "table", "row"]
"""Columns of `spans`: the line whose group it belongs to (`FAMILY`: the family's own), row of the
figure, kind, half-open days, a label, and the stored row (`row` -1: none)."""
MARKS = ["group", "track", "kind", "on", "label", "table", "row", "received_on"]
"""Columns of `marks`: group, row of the figure, kind of mark, its day, a label, the stored row, and
the day on which the clinic got it (missing: not an entry of the log)."""
TABLE = ["on", "until", "group", "label", "table", "row", "received_on"]
"""Columns of `table_of`: first day, day after the last (missing: a single day), and as above."""

FAMILY = ""
"""The group of what is not of one line."""
NO_ROW = -1
LATE_DAYS = 2
"""An entry that the clinic got more than so many days after its day is shown at both days."""
DRESSING = "dressing"
DAILY = "flush"
"""A task due so often that its spans in date are not shown one by one."""
SPANS_LISTED = ("out_of_date", "unscored", "away", "silent")
"""Spans that are in the table as well; the others follow from the changes in it."""


@dataclass(frozen=True)
class Codes:
    """Code lists of the policy in force and of the vocabulary."""

    labels: Mapping[str, str]
    skin: frozenset[str]
    red: frozenset[str]
    compromised: frozenset[str]
    nothing_seen: str


@dataclass(frozen=True)
class FamilyRecords:
    """What is known of one family up to the as-of day."""

    lines: pd.DataFrame
    """Lines of the timeline, in the order in which they are shown."""
    registry: pd.DataFrame
    """Their rows of the registry."""
    home_periods: pd.DataFrame
    accessed_periods: pd.DataFrame
    intervals: pd.DataFrame
    """Intervals of all tasks (INTERVALS)."""
    entries: pd.DataFrame
    """Home-log rows."""
    stays: pd.DataFrame
    outcomes: pd.DataFrame
    calls: pd.DataFrame
    sign_offs: pd.DataFrame
    silent_after_days: int
    """A run of days without an entry is shown when it is longer than this."""
    zone: ZoneInfo
    """The programme's time zone, in which the day of receipt is read."""
    sees_notes: bool
    """Whether free text is shown."""


def care_of(records: FamilyRecords) -> pd.DataFrame:
    """Intervals with the group and row of the figure they belong to, and their change's row."""
    care = records.intervals.merge(
        records.lines[["line", "line_id", "child_id", "placed_on"]], on="line", how="inner"
    )
    table, row = _where_changed(records, care)
    return care.assign(group=care["line_id"], track=care["task"].astype(str), table=table, row=row)


def _where_changed(
    records: FamilyRecords, care: pd.DataFrame
) -> tuple[pd.Series[Any], pd.Series[Any]]:
    """Table and row of each interval's change: the log, else a stay, else the registry."""
    logged = care["row"] >= 0
    stays = records.stays.drop_duplicates(["child_id", "dressing_on"])
    stay_row = _matched(care[["child_id", "start_on"]], stays[["child_id", "dressing_on", "row"]])
    line_row = _matched(care[["line_id"]], records.registry[["line_id", "row"]])
    of_dressing = (care["task"].astype(str) == DRESSING).to_numpy(dtype=bool)
    stay_row = stay_row.where(of_dressing)
    line_row = line_row.where(of_dressing)
    table = pd.Series("home_log", index=care.index, dtype="object").where(logged, "lines")
    table = table.mask(~logged & stay_row.notna(), "stays")
    row = care["row"].where(logged, stay_row.fillna(line_row).fillna(NO_ROW)).astype("int64")
    return table, row


def _matched(asked: pd.DataFrame, known: pd.DataFrame) -> pd.Series[Any]:
    """Rows of the known that hold the values asked for, missing where none does."""
    known = known.set_axis([*asked.columns, "row_found"], axis=1).dropna()
    found = asked.merge(known, on=list(asked.columns), how="left")["row_found"]
    return found.set_axis(asked.index)


def worded(codes: pd.Series[Any]) -> pd.Series[Any]:
    """Codes as words."""
    return codes.astype("category").cat.rename_categories(plain).astype("string")


def nothing(columns: list[str]) -> pd.DataFrame:
    """No spans, or no marks."""
    dates = {"start_on", "end_on", "on", "received_on"}
    return pd.DataFrame(
        {c: pd.Series([], dtype="datetime64[s]" if c in dates else "object") for c in columns}
    )
