"""Which spans and marks does the history of one family hold?

Frames in, frames out: `spans` are stretches of days, `marks` single days; each names the group
of rows it belongs to and the stored row it comes from, so that a click leads to it. Nothing is
counted here.
"""

from dashboard.family.history.marks import marks_of, received_days
from dashboard.family.history.records import (
    FAMILY,
    LATE_DAYS,
    MARKS,
    NO_ROW,
    SPANS,
    TABLE,
    Codes,
    FamilyRecords,
)
from dashboard.family.history.spans import spans_of
from dashboard.family.history.table import table_of

__all__ = [
    "FAMILY",
    "LATE_DAYS",
    "MARKS",
    "NO_ROW",
    "SPANS",
    "TABLE",
    "Codes",
    "FamilyRecords",
    "marks_of",
    "received_days",
    "spans_of",
    "table_of",
]
