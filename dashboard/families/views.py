"""What does the list of all families show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dashboard.addresses.families import FamiliesChoice
from dashboard.session.views import PageContext


@dataclass(frozen=True)
class FamilyRow:
    """One family of the list."""

    family_id: str
    place: str
    days_overdue: int
    silent: bool
    last_heard_on: date | None
    nurses: tuple[str, ...]
    sites: tuple[str, ...]
    n_lines: int
    """Lines at home."""


@dataclass(frozen=True)
class FamiliesView:
    """One page of the list of all families."""

    context: PageContext
    choice: FamiliesChoice
    rows: tuple[FamilyRow, ...]
    total: int
    pages: int
    every: int
    """Families on the list without any choice."""
    places: tuple[str, ...]
    sites: tuple[str, ...]
    nurses: tuple[str, ...]
