"""What is recorded of a family, and what does a form to record more need?"""

from __future__ import annotations

import secrets
from dataclasses import replace
from datetime import timedelta
from typing import TypeVar

from dashboard.call_actions.queries import arrangements
from dashboard.call_actions.views import Acts
from dashboard.call_state import queries as call_state
from dashboard.session.session import Session

Shown = TypeVar("Shown", bound=Acts)


def acts_of(session: Session, known: str) -> Acts:
    """What is the same for all who may see the same; `for_person` fills in the rest."""
    found = session.snapshot()
    return Acts(
        context=session.context(),
        row=call_state.row_of(found, known),
        calls=call_state.calls_made(found, known),
        arranged=arrangements.arranged(found, known),
        callers=(),
        recheck_on=found.as_of + timedelta(days=found.edition.settings.recheck_days),
        form="",
    )


def for_person(session: Session, acts: Shown) -> Shown:
    """The same for the person of a session, with a form of its own."""
    return replace(
        acts,
        context=session.context(),
        callers=arrangements.callers(session.snapshot(), session.reader.code),
        form=secrets.token_urlsafe(12),
    )
