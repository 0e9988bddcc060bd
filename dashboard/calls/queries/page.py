"""What does the call list show to the person who asks?"""

from __future__ import annotations

import secrets
from dataclasses import replace
from datetime import timedelta

from dashboard.addresses.calls import Choice
from dashboard.call_state import queries as call_state
from dashboard.calls.queries import arrangements, call_list, proof
from dashboard.calls.views import CallsView, Opened
from dashboard.security.roles import Page, Right
from dashboard.session.session import Session


class CallsQueries:
    """Questions of the call list, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.CALLS)
        self.session = session

    def calls(self, choice: Choice) -> CallsView:
        """The call list under a choice of band, site, nurse, language and page."""
        session = self.session
        asked = replace(self._allowed(choice), family_id=None)
        view = session.cached(
            ("calls", asked, session.seen_as()),
            lambda: call_list.calls_view(session.snapshot(), session.context(), asked),
        )
        mine = replace(view.choice, family_id=choice.family_id)
        return replace(view, context=session.context(), choice=mine)

    def calls_table(self, choice: Choice) -> tuple[str, str]:
        """Name and text of the chosen part of the call list as CSV; the export is logged."""
        name, text = call_list.calls_table(self.session.snapshot(), self._allowed(choice))
        self.session.note_export(name)
        return name, text

    def opened(self, family_id: object, choice: Choice) -> Opened | None:
        """The family in the panel with its log entries; None when there is no such family."""
        session = self.session
        known = session.open_family(family_id)
        if known is None:
            return None
        asked = replace(self._allowed(choice), family_id=None)
        opened = session.cached(
            ("opened", known, asked, session.seen_as()), lambda: self._open(known, asked)
        )
        return replace(
            opened,
            context=session.context(),
            callers=arrangements.callers(session.snapshot(), session.reader.code),
            form=secrets.token_urlsafe(12),
        )

    def _open(self, known: str, choice: Choice) -> Opened:
        """What is the same for all who may see the same; callers and form are filled in later."""
        session = self.session
        found = session.snapshot()
        row = call_state.row_of(found, known)
        contact, language = session.contact_and_language(found, known)
        return Opened(
            context=session.context(),
            row=row,
            reasons=proof.with_rows(
                call_state.reasons_of(found, known), session.store, found, session.reader
            ),
            calls=call_state.calls_made(found, known),
            needs=call_state.needs_of(found, known),
            arranged=arrangements.arranged(found, known),
            callers=(),
            contact=contact,
            language=language,
            recheck_on=found.as_of + timedelta(days=found.edition.settings.recheck_days),
            form="",
            next_family_id=call_list.next_family(found, row, choice),
        )

    def _allowed(self, choice: Choice) -> Choice:
        """The choice without what this person may not know; of nurses first their own caseload."""
        reader = self.session.reader
        if choice.nurse is None:
            choice = replace(choice, nurse=reader.caseload)
        return choice if reader.may(Right.LANGUAGE) else replace(choice, language=None)
