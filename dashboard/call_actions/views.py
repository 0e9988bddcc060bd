"""What was recorded of a family, and what can be? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from dashboard.call_state.views import CallMade, CallRow
from dashboard.session.views import PageContext


@dataclass(frozen=True)
class Arranged:
    """What somebody arranged about a family."""

    row: int
    made_at: datetime
    """In the programme's time zone."""
    made_by: str
    kind: str
    assigned_to: str | None
    until_on: date | None
    reason: str | None


@dataclass(frozen=True)
class News:
    """What was just done, in a sentence."""

    message: str
    can_undo: bool


@dataclass(frozen=True)
class Acts:
    """Calls and arrangements of a family, and what a form to record the next one needs."""

    context: PageContext
    row: CallRow
    calls: tuple[CallMade, ...]
    arranged: tuple[Arranged, ...]
    callers: tuple[str, ...]
    """People the family can be assigned to."""
    recheck_on: date
    form: str
    """A code of this one form: sent twice, it records one call."""
    others: str
    """Who else opened the family a moment ago, in a sentence; blank: nobody."""

    @property
    def newest_call(self) -> int:
        """Row of the newest call recorded to the family; 0: there is none."""
        return max((call.row for call in self.calls), default=0)
