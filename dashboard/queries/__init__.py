"""The only door to analysis: what does the store say, in the shape a page shows it?

Every question is put for a person who signed in. Every code and number that a page names is
looked up again here, among the families this person may see.
"""

from dashboard.queries.annotating import AnnotationForm
from dashboard.queries.arranging import (
    LONGEST_ASIDE_DAYS,
    MOST_REASON_CHARACTERS,
    ArrangeForm,
)
from dashboard.queries.calls_made import (
    MOST_CHARACTERS,
    CallForm,
    FormError,
)
from dashboard.queries.door import Queries
from dashboard.queries.entrance import Entrance
from dashboard.queries.marking import RefresherForm
from dashboard.queries.week import PdfError

__all__ = [
    "LONGEST_ASIDE_DAYS",
    "MOST_CHARACTERS",
    "MOST_REASON_CHARACTERS",
    "AnnotationForm",
    "ArrangeForm",
    "CallForm",
    "Entrance",
    "FormError",
    "PdfError",
    "Queries",
    "RefresherForm",
]
