"""Questions about lines and families, answered from timeline and tallies: one file a question."""

from analysis.measures.adherence import adherence
from analysis.measures.charts import (
    LEAGUE_TABLE_CAUTION,
    ChartKind,
    gap_chart,
    group_funnel,
    rate_chart,
)
from analysis.measures.comparison import compare
from analysis.measures.counts import MeasureError, counts, usual_basis
from analysis.measures.dwell import compare_dwell, dwell, line_times
from analysis.measures.lines import line_table
from analysis.measures.rates import Limits, rates

__all__ = [
    "LEAGUE_TABLE_CAUTION",
    "ChartKind",
    "Limits",
    "MeasureError",
    "adherence",
    "compare",
    "compare_dwell",
    "counts",
    "dwell",
    "gap_chart",
    "group_funnel",
    "line_table",
    "line_times",
    "rate_chart",
    "rates",
    "usual_basis",
]
