"""What does the call list ask of the analysis?"""

from dashboard.calls.queries.page import CallsQueries

__all__ = ["CallsQueries"]
