"""What does the educator's page ask of the analysis?"""

from dashboard.retraining.queries.page import RetrainingQueries, warm_up
from dashboard.retraining.queries.refreshers import RefresherForm

__all__ = ["RefresherForm", "RetrainingQueries", "warm_up"]
