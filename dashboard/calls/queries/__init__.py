"""What does the call list ask of the analysis, and what does it record?"""

from dashboard.calls.queries.actions import ARRANGEMENTS, CALLS, UNDONE, CallActions
from dashboard.calls.queries.arrangements import (
    LONGEST_POSTPONEMENT_DAYS,
    MOST_REASON_CHARACTERS,
    ArrangeForm,
)
from dashboard.calls.queries.call_form import MOST_CHARACTERS, CallForm
from dashboard.calls.queries.page import CallsQueries

__all__ = [
    "ARRANGEMENTS",
    "CALLS",
    "LONGEST_POSTPONEMENT_DAYS",
    "MOST_CHARACTERS",
    "MOST_REASON_CHARACTERS",
    "UNDONE",
    "ArrangeForm",
    "CallActions",
    "CallForm",
    "CallsQueries",
]
