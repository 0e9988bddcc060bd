"""Questions about lines and families, answered from timeline and tallies: one file a question."""

from analysis.measures.adherence import adherence
from analysis.measures.lines import line_table
from analysis.measures.rates import Limits, MeasureError, rates, usual_basis

__all__ = ["Limits", "MeasureError", "adherence", "line_table", "rates", "usual_basis"]
