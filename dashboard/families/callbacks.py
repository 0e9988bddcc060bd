"""What changes on the list of all families while it is open?"""

from __future__ import annotations

from dashboard.addresses.families import read_families
from dashboard.changes.callbacks import register_changes
from dashboard.families.queries import FamiliesQueries
from dashboard.security.guard import Guard
from dashboard.security.roles import Page


def register(guard: Guard) -> None:
    """Register the callbacks of the page."""
    register_changes(
        guard,
        Page.FAMILIES,
        lambda session, search: FamiliesQueries(session).changes(read_families(search), marks=True),
    )
