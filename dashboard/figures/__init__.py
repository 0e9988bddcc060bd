"""Figures: frames in, a plotly figure out. Nothing here knows pages or data stores."""

from dashboard.figures.line_history import line_history

__all__ = ["line_history"]
