"""What does the call list show to the person who asks?"""

from __future__ import annotations

from dataclasses import replace

from dashboard.addresses.calls import Choice, write_choice
from dashboard.call_actions.queries import acts_of, for_person
from dashboard.call_actions.views import Acts
from dashboard.call_state import queries as call_state
from dashboard.calls.queries import call_list, proof
from dashboard.calls.queries.ahead import changes_due, kits_run_out
from dashboard.calls.views import CallsView, Opened
from dashboard.changes.queries.call_list import changes_of_calls, red_flags
from dashboard.changes.views import Changes
from dashboard.family_lists.queries import allowed
from dashboard.layout.words import AHEAD
from dashboard.security.roles import Page
from dashboard.session import families
from dashboard.session.session import Session


class CallsQueries:
    """Questions of the call list, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.CALLS)
        self.session = session

    def calls(self, choice: Choice) -> CallsView:
        """The call list under a choice of band, site, nurse, language and page."""
        session = self.session
        asked = replace(allowed(self.session.reader, choice), family_id=None)
        view = session.cached(
            ("calls", asked, session.seen_as()),
            lambda: call_list.calls_view(
                session.snapshot(),
                session.context(),
                asked,
                changes_due(session),
                kits_run_out(session) if asked.band == AHEAD else None,
            ),
        )
        mine = replace(view.choice, family_id=choice.family_id)
        asked_now = replace(view, context=session.context(), choice=mine)
        vars(asked_now)["state"] = view.state  # it depends on neither of the two
        return asked_now

    def changes(self, choice: Choice, *, marks: bool = False, looks: bool = True) -> Changes:
        """What changed since this person last looked; `marks`: it is marked as seen now."""

        def address(family_id: str) -> str:
            return write_choice(replace(choice, family_id=family_id))

        return changes_of_calls(self.session, choice, address, opens=True, marks=marks, looks=looks)

    def red_flags(self, choice: Choice) -> dict[str, tuple[int, str]]:
        """Families with a red flag: its newest log entry, and the reason in words."""
        return red_flags(self.session, choice)

    def calls_table(self, choice: Choice) -> tuple[str, str]:
        """Name and text of the chosen part of the call list as CSV; the export is logged."""
        name, text = call_list.calls_table(
            self.session.snapshot(), allowed(self.session.reader, choice)
        )
        self.session.note_export(name)
        return name, text

    def opened(
        self, family_id: object, choice: Choice, *, by_itself: bool = False
    ) -> Opened | None:
        """The family in the panel with its log entries; None when there is no such family.

        `by_itself`: the page asks, because something was recorded of the family that is open.
        """
        session = self.session
        is_asked_for = choice.family_id == family_id and not by_itself
        known = (session.open_family if is_asked_for else session.family_shown_first)(family_id)
        if known is None:
            return None
        asked = replace(allowed(self.session.reader, choice), family_id=None)
        opened = session.cached(
            ("opened", known, asked, session.seen_as()), lambda: self._open(known, asked)
        )
        return for_person(session, opened)

    def recorded(self, family_id: str) -> Acts | None:
        """What is recorded of the family that is open; None when there is no such family."""
        session = self.session
        known = families.known_family(session.loaded(), family_id)
        return None if known is None else for_person(session, acts_of(session, known))

    def _open(self, known: str, choice: Choice) -> Opened:
        """What is the same for all who may see the same; callers and form are filled in later."""
        session = self.session
        found = session.snapshot()
        acts = acts_of(session, known)
        contact, language = session.contact_and_language(found, known)
        return Opened(
            **vars(acts),
            reasons=proof.with_rows(
                call_state.reasons_of(found, known), session.store, found, session.reader
            ),
            needs=call_state.needs_of(found, known),
            contact=contact,
            language=language,
            next_family_id=call_list.next_family(found, acts.row, choice),
        )
