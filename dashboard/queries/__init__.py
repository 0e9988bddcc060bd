"""The only door to analysis: what does the store say, in the shape a page shows it?

Every question is put for a person who signed in. Every code and number that a page names is
looked up again here, among the families this person may see.
"""

from dashboard.queries.calls_made import (
    MOST_CHARACTERS,
    CallForm,
    FormError,
)
from dashboard.queries.door import Queries
from dashboard.queries.entrance import Entrance

__all__ = ["MOST_CHARACTERS", "CallForm", "Entrance", "FormError", "Queries"]
