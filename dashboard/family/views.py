"""What does a family's page show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dashboard.addresses.family import FamilyChoice
from dashboard.call_state.views import CallMade, CallRow, NeedShown, ReasonView
from dashboard.family.history import Row
from dashboard.figures import Mark, Span


@dataclass(frozen=True)
class LineView:
    """One line of a family with its history."""

    line_id: str
    child_id: str
    line_type: str
    therapy: str | None
    site: str
    nurse: str | None
    placed_on: date
    home_from: date
    end_on: date | None
    state: str
    last_change_on: date | None
    allowed_until: date | None
    days_overdue: int


@dataclass(frozen=True)
class CaregiverView:
    """One person who cares for a line at home and the newest dressing-change sign-off."""

    caregiver_id: str
    relation: str | None
    signed_on: date | None
    outcome: str | None


@dataclass(frozen=True)
class FamilyView:
    """One family: its call state, its lines, what happened, its people, its calls."""

    family_id: str
    as_of: date
    now: date
    """The as-of day of all other pages; later than `as_of` in a look back."""
    edition: str
    choice: FamilyChoice
    sees: frozenset[str]
    """What else the person who asks may see, by name of the right."""
    row: CallRow
    reasons: tuple[ReasonView, ...]
    lines: tuple[LineView, ...]
    first: date
    last: date
    """Days shown in the figure."""
    spans: tuple[Span, ...]
    marks: tuple[Mark, ...]
    """Those of the days shown, in order of time."""
    table: tuple[Row, ...]
    """Both on one page of the table, newest first."""
    table_rows: int
    pages: int
    caregivers: tuple[CaregiverView, ...]
    calls: tuple[CallMade, ...]
    needs: tuple[NeedShown, ...]
    """Empty on an earlier day, where they are not calculated."""
    contact: str | None
    language: str | None
