"""How are training sessions listed: those ahead first, then those whose attendance is missing?"""

from __future__ import annotations

from datetime import date

from dash.development.base_component import Component
from markupsafe import Markup

from dashboard.addresses.retraining import dated_address, plan_address
from dashboard.layout import words
from dashboard.layout.cards import figure_card
from dashboard.layout.templates import render
from dashboard.retraining.session_sheet import session_words
from dashboard.retraining.session_views import Session
from dashboard.retraining.views import SessionsView

TITLE = "Training sessions"
MOST_PAST = 10
Sessions = tuple[Session, ...]


def dated_card(sessions: Sessions, as_of: date) -> Component:
    """Sessions ahead, then the newest past ones."""
    ahead = [s for s in sessions if s.held_on >= as_of]
    past = [s for s in sessions if s.held_on < as_of][::-1]
    rows = [_row(s, as_of) for s in (*ahead, *past[:MOST_PAST])]
    return figure_card(
        TITLE,
        None,
        _reading(ahead, sessions, as_of),
        table=render("retraining/dated", rows=rows) if rows else None,
        notes=(f"{len(past) - MOST_PAST} earlier ones: linedays sessions.",)
        if len(past) > MOST_PAST
        else (),
        above=render("retraining/plan_link", address=plan_address()),
    )


def _reading(ahead: list[Session], sessions: Sessions, as_of: date) -> str:
    planned = [s for s in ahead if not s.cancelled]
    count = words.counted(len(planned), "session", "sessions")
    first = f"{count} ahead." if planned else "No session is planned."
    missing = len(unmarked(sessions, as_of))
    if not missing:
        return first
    return f"{first} Record who came to {words.counted(missing, 'session', 'sessions')}."


def unmarked(sessions: Sessions, as_of: date) -> list[Session]:
    """Sessions that took place and to which nobody is recorded as having come."""
    return [s for s in sessions if s.held_on <= as_of and not (s.cancelled or s.marked)]


def head_line(sessions: Sessions, as_of: date, shared: SessionsView) -> Markup:
    """One line above the list: who came is to be recorded, the next session, the largest to plan."""
    ahead = [s for s in sessions if s.held_on >= as_of and not s.cancelled]
    missing = unmarked(sessions, as_of)
    return render(
        "retraining/dated_line",
        missing=[(_when(s, as_of), dated_address(s.number)) for s in missing[:1]],
        following=[(_when(s, as_of), dated_address(s.number)) for s in ahead[:1]],
        shared=session_words(shared.rows[0]) if shared.rows else None,
        address=plan_address(),
    )


def _when(session: Session, as_of: date) -> str:
    return ", ".join(p for p in (words.short_day(session.held_on, as_of), session.venue) if p)


def _row(session: Session, as_of: date) -> dict[str, object]:
    families = len(session.family_ids) + session.others
    if session.cancelled:
        state = "cancelled"
    elif session.marked:
        state = f"{session.marked} of {session.invited} came"
    else:
        state = "record who came" if session.held_on <= as_of else "planned"
    day = words.short_day(session.held_on, as_of)
    return {
        "day": f"{day}, {session.starts_at}" if session.starts_at else day,
        "address": dated_address(session.number),
        "venue": session.venue or "not stated",
        "language": session.language or "any",
        "held_by": ", ".join(session.held_by) or "not stated",
        "families": words.counted(families, "family", "families"),
        "state": state,
    }
