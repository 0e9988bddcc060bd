"""Questions about lines and families, answered from timeline and tallies: one file a question."""

from analysis.measures.adherence import adherence
from analysis.measures.at_risk import lines_at_risk
from analysis.measures.charts import chart_false_alarms, rate_chart
from analysis.measures.comparison import compare, compared_rates
from analysis.measures.completeness import DataStatus, provisional_rates, settled_tallies
from analysis.measures.counts import MeasureError, counts, is_logged_at_home, usual_basis
from analysis.measures.coverage import log_coverage
from analysis.measures.delays import delays
from analysis.measures.dwell import compare_dwell, dwell, line_times
from analysis.measures.family_rates import family_rates
from analysis.measures.funnels import LEAGUE_TABLE_CAUTION, group_funnel
from analysis.measures.gap_charts import Wait, gap_chart, since_last_event
from analysis.measures.late_reports import lateness
from analysis.measures.lines import line_table
from analysis.measures.logging_bias import logging_bias
from analysis.measures.overdue_hazard import overdue_hazard
from analysis.measures.rates import rates
from analysis.measures.release import for_release
from analysis.measures.skin_course import skin_course
from analysis.measures.snapshot_data import SnapshotData
from analysis.measures.surveillance import PROGRAMME, FollowedRate, Surveillance, surveillance
from analysis.measures.trends import standardised, trend
from analysis.vocabulary import ChartKind, Limits

__all__ = [
    "LEAGUE_TABLE_CAUTION",
    "PROGRAMME",
    "ChartKind",
    "DataStatus",
    "FollowedRate",
    "Limits",
    "MeasureError",
    "SnapshotData",
    "Surveillance",
    "Wait",
    "adherence",
    "chart_false_alarms",
    "compare",
    "compare_dwell",
    "compared_rates",
    "counts",
    "delays",
    "dwell",
    "family_rates",
    "for_release",
    "gap_chart",
    "group_funnel",
    "is_logged_at_home",
    "lateness",
    "line_table",
    "line_times",
    "lines_at_risk",
    "log_coverage",
    "logging_bias",
    "overdue_hazard",
    "provisional_rates",
    "rate_chart",
    "rates",
    "settled_tallies",
    "since_last_event",
    "skin_course",
    "standardised",
    "surveillance",
    "trend",
    "usual_basis",
]
