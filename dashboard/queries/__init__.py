"""The only door to analysis: what does the store say, in the shape a page shows it?

Every code and number that a page names is looked up again here.
"""

from dashboard.queries.calls_made import (
    MOST_CHARACTERS,
    STAFF_CODE_CHARACTERS,
    CallForm,
    FormError,
)
from dashboard.queries.door import Queries

__all__ = ["MOST_CHARACTERS", "STAFF_CODE_CHARACTERS", "CallForm", "FormError", "Queries"]
