"""Questions about lines and families, answered from timeline and tallies: one file a question."""

from analysis.measures.adherence import adherence
from analysis.measures.comparison import compare
from analysis.measures.counts import MeasureError, counts, usual_basis
from analysis.measures.lines import line_table
from analysis.measures.rates import Limits, rates

__all__ = [
    "Limits",
    "MeasureError",
    "adherence",
    "compare",
    "counts",
    "line_table",
    "rates",
    "usual_basis",
]
