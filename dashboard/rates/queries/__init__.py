"""What does the page of rates ask of the analysis?"""

from dashboard.rates.queries.annotations import AnnotationForm
from dashboard.rates.queries.page import RatesQueries

__all__ = ["AnnotationForm", "RatesQueries"]
