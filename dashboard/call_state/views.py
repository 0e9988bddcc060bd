"""What is shown of one family on the call list and on its page? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True)
class ReasonView:
    """One reason to call, the line it speaks of and its log entries."""

    reason: str
    band: str
    line_id: str | None
    sentence: str
    proof: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class CallRow:
    """One family of the call list."""

    rank: int | None
    family_id: str
    band: str
    sentences: tuple[str, ...]
    reasons: tuple[str, ...]
    """Code of the reason of each sentence."""
    days_overdue: int
    silent: bool
    silent_days: int
    last_heard_on: date | None
    nurses: tuple[str, ...]
    sites: tuple[str, ...]
    recheck_on: date | None
    expected: str | None = None
    """How many such mornings an event followed, in words; None where the rules give the order."""
    assigned_to: str | None = None
    postponed_by: str | None = None
    """Who postponed it; None for a family that is not postponed."""
    postponed_reason: str | None = None
    attempts: str | None = None
    """Calls without an answer, in a sentence; None where there is none."""


@dataclass(frozen=True)
class NeedShown:
    """What recent evidence shows of one caregiver and step of the family."""

    caregiver_id: str | None
    step_name: str
    state: str
    """A `NeedState`."""
    words: str


@dataclass(frozen=True)
class CallMade:
    """One recorded call to a family."""

    row: int
    made_on: date
    made_by: str
    reached: bool
    agreed: str | None
    recheck_on: date
    made_at: datetime
    """In the programme's time zone."""
