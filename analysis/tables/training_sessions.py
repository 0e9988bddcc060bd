"""What do the tables on training sessions hold: when and where, who is invited, who came?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from analysis.tables.columns import Frame
from analysis.vocabulary import SessionState

TRAINING_SESSIONS = Frame.of(
    "training_sessions",
    "one row a training session as it was planned or changed last, in the order of their days",
    """session state held_on starts_at venue language skills held_by family_ids caregiver_ids row
    made_by made_at""",
    key="session",
    blank={
        "starts_at": "no time stated",
        "venue held_by": "not stated",
        "language": "any language",
        "caregiver_ids": "families without a named caregiver",
    },
    detail={
        "language": "of the session",
        "family_ids": "invited",
        "caregiver_ids": "invited",
        "row": "of its newest change",
    },
)

SESSION_ATTENDANCE = Frame.of(
    "session_attendance",
    "one row a session, caregiver and skill: whether a refresher of that day is stored",
    "session held_on family_id caregiver_id skill outcome",
    key="session caregiver_id skill",
    blank={"outcome": "no refresher is stored"},
    detail={"caregiver_id": "invited, or of a family invited as a whole"},
)


@dataclass(frozen=True)
class SessionPlan:
    """A session as planned: its day, time (as 10:00), place, and who is invited."""

    held_on: date
    starts_at: str | None
    venue: str | None
    language: str | None
    skills: tuple[str, ...]
    held_by: tuple[str, ...]
    family_ids: tuple[str, ...]
    caregiver_ids: tuple[str, ...]
    state: SessionState = SessionState.PLANNED
