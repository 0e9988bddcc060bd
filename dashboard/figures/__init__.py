"""Figures: frames or rows in, a plotly figure out. Nothing here knows pages or data stores."""

from dashboard.figures.before_after import before_after
from dashboard.figures.control import control_chart
from dashboard.figures.delays import days_to_receipt
from dashboard.figures.family_strip import Group, Mark, Span, family_strip
from dashboard.figures.funnel import site_funnel
from dashboard.figures.intervals import rate_intervals
from dashboard.figures.learning import learning_by_changes
from dashboard.figures.step_picture import step_picture
from dashboard.figures.survival import ended_unplanned, share_in_place

__all__ = [
    "Group",
    "Mark",
    "Span",
    "before_after",
    "control_chart",
    "days_to_receipt",
    "ended_unplanned",
    "family_strip",
    "learning_by_changes",
    "rate_intervals",
    "share_in_place",
    "site_funnel",
    "step_picture",
]
