"""What does a person record of a family, and what is recorded already?"""

from dashboard.call_actions.queries.actions import ARRANGEMENTS, CALLS, UNDONE, CallActions
from dashboard.call_actions.queries.acts import acts_of, for_person, others_words, state_of
from dashboard.call_actions.queries.arrangements import (
    LONGEST_POSTPONEMENT_DAYS,
    MOST_REASON_CHARACTERS,
    ArrangeForm,
)
from dashboard.call_actions.queries.call_form import MOST_CHARACTERS, CallForm

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
    "acts_of",
    "for_person",
    "others_words",
    "state_of",
]
