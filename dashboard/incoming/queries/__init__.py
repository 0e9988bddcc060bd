"""What does the page of incoming data ask of the analysis?"""

from dashboard.incoming.queries.page import IncomingQueries

__all__ = ["IncomingQueries"]
