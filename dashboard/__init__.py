"""What the three people see: pages over one snapshot of the store. It computes nothing."""

from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.serving import ServeError, serve

__all__ = ["DashboardConfig", "ServeError", "create_app", "serve"]
