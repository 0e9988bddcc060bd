"""What is known of one family, and what are its spans and marks made of?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple
from zoneinfo import ZoneInfo

import pandas as pd

from dashboard.layout.words import plain
from dashboard.session.frames import cells


class Span(NamedTuple):
    """A stretch of days."""

    group: str
    """The line whose group it belongs to; `FAMILY`: the family's own."""
    track: str
    """Row of the figure."""
    kind: str
    start_on: pd.Timestamp
    end_on: pd.Timestamp
    """Half-open."""
    label: str
    table: str
    row: int
    """The stored row; -1: none."""


class Mark(NamedTuple):
    """What happened on a day; the fields of these names are as those of a `Span`."""

    group: str
    track: str
    kind: str
    on: pd.Timestamp
    label: str
    table: str
    row: int
    received_on: pd.Timestamp | None = None
    """The day on which the clinic got it; missing: not an entry of the log."""


class Row(NamedTuple):
    """A row of the table; the fields of these names are as those of a `Mark`."""

    on: pd.Timestamp
    """The first day."""
    until: pd.Timestamp | None
    """The day after the last; missing: a single day."""
    group: str
    label: str
    table: str
    row: int
    received_on: pd.Timestamp | None


SPANS, MARKS, TABLE = list(Span._fields), list(Mark._fields), list(Row._fields)
"""Columns of `spans_of`, `marks_of` and `table_of`."""

DATES = ("start_on", "end_on", "on", "until", "received_on")
FAMILY = ""
"""The group of what is not of one line."""
NO_ROW = -1
LATE_DAYS = 2
"""An entry that the clinic got more than so many days after its day is shown at both days."""
DRESSING = "dressing"
DAILY = "flush"
"""A task due so often that its spans in date are not shown one by one."""
OF_INTERVALS = (
    *("line", "row", "task", "start_on", "end_on"),
    *("allowed_until", "by_home", "dressing_type"),
)
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


class Care(NamedTuple):
    """An interval with the line it is of, and the stored row of its change."""

    line_id: str
    placed_on: pd.Timestamp
    task: str
    start_on: pd.Timestamp
    end_on: pd.Timestamp
    allowed_until: pd.Timestamp | None
    by_home: bool
    dressing_type: str | None
    table: str
    row: int


def care_of(records: FamilyRecords) -> list[Care]:
    """Intervals of the family's lines; the row of a change is of the log, else a stay, else the registry."""
    names = ("line", "line_id", "child_id", "placed_on")
    lines = {line: about for line, *about in cells(records.lines, *names)}
    stays: dict[tuple[str, pd.Timestamp], int] = {}
    for child, on, row in cells(records.stays, "child_id", "dressing_on", "row"):
        stays.setdefault((child, on), row)
    registry = dict(cells(records.registry, "line_id", "row"))
    found = []
    for line, logged, task, start_on, end_on, until, by_home, dressing in cells(
        records.intervals, *OF_INTERVALS
    ):
        if line not in lines:
            continue
        line_id, child_id, placed_on = lines[line]
        table, row = "home_log", logged
        if logged < 0 and task == DRESSING and (child_id, start_on) in stays:
            table, row = "stays", stays[child_id, start_on]
        elif logged < 0:
            table, row = "lines", registry.get(line_id, NO_ROW) if task == DRESSING else NO_ROW
        span = (start_on, end_on, until, by_home, dressing)
        found.append(Care(line_id, placed_on, task, *span, table, row))
    return found


def worded(code: str | None) -> str:
    """A code as words; blank for none."""
    return "" if code is None else plain(code)


def frame_of(kind: type[Span | Mark | Row], rows: Sequence[Span | Mark | Row]) -> pd.DataFrame:
    """One row a span, a mark or a row of the table."""
    columns = zip(*rows, strict=True) if rows else ((),) * len(kind._fields)
    return pd.DataFrame(
        {
            name: pd.Series(list(cells), dtype="datetime64[s]" if name in DATES else None)
            for name, cells in zip(kind._fields, columns, strict=True)
        }
    )
