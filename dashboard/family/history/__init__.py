"""Which spans and marks does the history of one family hold?

Spans are stretches of days, marks single days; each names the group of rows it belongs to and the
stored row it comes from, so that a click leads to it. Nothing is counted here.
"""

from dashboard.family.history.marks import marks_of
from dashboard.family.history.records import (
    FAMILY,
    LATE_DAYS,
    NO_ROW,
    OF_CALLS,
    OF_ENTRIES,
    OF_INTERVALS,
    OF_LINES,
    OF_OUTCOMES,
    OF_PERIODS,
    OF_REGISTRY,
    OF_SIGN_OFFS,
    OF_STAYS,
    Codes,
    FamilyRecords,
    Row,
    Rows,
)
from dashboard.family.history.spans import spans_of
from dashboard.family.history.table import table_of

__all__ = [
    "FAMILY",
    "LATE_DAYS",
    "NO_ROW",
    "OF_CALLS",
    "OF_ENTRIES",
    "OF_INTERVALS",
    "OF_LINES",
    "OF_OUTCOMES",
    "OF_PERIODS",
    "OF_REGISTRY",
    "OF_SIGN_OFFS",
    "OF_STAYS",
    "Codes",
    "FamilyRecords",
    "Row",
    "Rows",
    "marks_of",
    "spans_of",
    "table_of",
]
