"""What does a family's page ask of the analysis?"""

from dashboard.family.queries.page import FamilyQueries

__all__ = ["FamilyQueries"]
