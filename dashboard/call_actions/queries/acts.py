"""What is recorded of a family, and what does a form to record more need?"""

from __future__ import annotations

import secrets
from dataclasses import replace
from datetime import timedelta
from typing import TypeVar

from dashboard.call_actions.queries import arrangements
from dashboard.call_actions.views import Acts
from dashboard.call_state import queries as call_state
from dashboard.layout.row_tokens import row_token
from dashboard.layout.words import counted
from dashboard.session.session import Session

Shown = TypeVar("Shown", bound=Acts)
MOST_OTHERS = 3
"""Others at a family who are named, the newest; of more, their number is shown."""


def acts_of(session: Session, known: str) -> Acts:
    """What is the same for all who may see the same; `for_person` fills in the rest."""
    return session.cached(("acts", known), lambda: _acts_of(session, known))


def _acts_of(session: Session, known: str) -> Acts:
    found = session.snapshot()
    return Acts(
        context=session.context(),
        row=call_state.row_of(found, known),
        calls=call_state.calls_made(found, known),
        arranged=arrangements.arranged(found, known),
        callers=(),
        others="",
        recheck_on=found.as_of + timedelta(days=found.edition.settings.recheck_days),
        form="",
    )


def others_words(session: Session, acts: Acts) -> str:
    """Who else opened a family a moment ago and recorded no call to it since; blank: nobody."""
    zone = session.policy.zone
    called = {call.made_by: call.made_at for call in reversed(acts.calls)}  # the newest of each
    opened = [
        f"{who} opened this family at {at.astimezone(zone):%H:%M}."
        for who, at in session.opened_by_others(acts.row.family_id)
        if who not in called or called[who] < at
    ]
    more = len(opened) - MOST_OTHERS
    if more > 0:
        people = counted(more, "other person", "other people")
        opened = [*opened[:MOST_OTHERS], f"{people} opened it earlier."]
    return " ".join(opened)


def state_of(acts: Acts) -> str:
    """What tells what is recorded of a family from what was recorded before."""
    rows = [row_token(call.row, "calls") for call in acts.calls]
    rows += [row_token(made.row, "arrangements") for made in acts.arranged]
    return f"{acts.row.family_id} {acts.row.band} {rows}"


def for_person(session: Session, acts: Shown) -> Shown:
    """The same for the person of a session, with a form of its own."""
    own_code = session.reader.code
    return replace(
        acts,
        context=session.context(),
        callers=session.cached(
            ("callers", own_code), lambda: arrangements.callers(session.snapshot(), own_code)
        ),
        others=others_words(session, acts),
        form=secrets.token_urlsafe(12),
    )
