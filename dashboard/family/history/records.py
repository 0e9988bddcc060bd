"""What is known of one family, and what are its spans and marks made of?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from dashboard.layout.words import plain


class Row(NamedTuple):
    """A row of the table; the fields of these names are as those of a `Mark`."""

    on: date
    """The first day."""
    until: date | None
    """The day after the last; None: a single day."""
    group: str
    label: str
    table: str
    row: int | str
    received_on: date | None


FAMILY = ""
"""The group of what is not of one line."""
NO_ROW = -1
LATE_DAYS = 2
"""An entry that the clinic got more than so many days after its day is shown at both days."""
DRESSING = "dressing"
DAILY = "flush"
"""A task due so often that its spans in date are not shown one by one."""
OF_LINES = ("line", "line_id", "child_id", "line_type", "placed_on", "home_from")
OF_REGISTRY = ("line_id", "row")
OF_PERIODS = ("line", "start_on", "end_on")
OF_INTERVALS = (
    *("line", "row", "task", "start_on", "end_on"),
    *("allowed_until", "by_home", "dressing_type"),
)
OF_ENTRIES = (
    *("row", "line_id", "done_on", "kind", "dressing_condition", "change_reason"),
    *("findings", "note", "received_at"),
)
OF_STAYS = ("child_id", "from_on", "to_on", "place", "dressing_on", "row")
OF_OUTCOMES = ("row", "line_id", "onset_on", "outcome")
OF_CALLS = ("row", "called_on", "called_by", "outcome")
OF_SIGN_OFFS = ("row", "signed_on", "kind", "skill", "outcome", "caregiver_id")
"""Columns of the rows in `FamilyRecords`."""
Rows = Sequence[tuple[Any, ...]]
"""Plain values, as `plain_cells` gives them."""
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

    lines: Rows
    """Lines of the timeline, in the order in which they are shown."""
    registry: Rows
    """Their rows of the registry."""
    home_periods: Rows
    accessed_periods: Rows
    intervals: Rows
    """Intervals of all tasks."""
    entries: Rows
    """Home-log rows."""
    stays: Rows
    outcomes: Rows
    calls: Rows
    sign_offs: Rows
    silent_after_days: int
    """A run of days without an entry is shown when it is longer than this."""
    zone: ZoneInfo
    """The programme's time zone, in which the day of receipt is read."""
    sees_notes: bool
    """Whether free text is shown."""


class Care(NamedTuple):
    """An interval with the line it is of, and the stored row of its change."""

    line_id: str
    placed_on: date
    task: str
    start_on: date
    end_on: date
    allowed_until: date | None
    by_home: bool
    dressing_type: str | None
    table: str
    row: int


def care_of(records: FamilyRecords) -> list[Care]:
    """Intervals of the family's lines; the row of a change is of the log, else a stay, else the registry."""
    lines = {line: (code, child, on) for line, code, child, _, on, _ in records.lines}
    stays: dict[tuple[str, date], int] = {}
    for child, _, _, _, on, row in records.stays:
        stays.setdefault((child, on), row)
    registry: dict[str, int] = dict(records.registry)
    found = []
    for line, logged, task, start_on, end_on, until, by_home, dressing in records.intervals:
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


@lru_cache
def worded(code: str | None) -> str:
    """A code as words; blank for none."""
    return "" if code is None else plain(code)
