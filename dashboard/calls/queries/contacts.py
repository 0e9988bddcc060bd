"""Which families are on the list that is printed with contacts, and how is each one reached?"""

from __future__ import annotations

from dataclasses import replace

from analysis.vocabulary import Access
from dashboard.addresses.calls import Choice
from dashboard.calls.queries.page import CallsQueries
from dashboard.calls.views import CallsView, ContactList, Reached
from dashboard.layout.words import BANDS_TO_CALL, PER_PAGE
from dashboard.security.roles import Right
from dashboard.session.session import Session


class ContactQueries:
    """The call list with contacts, for people who may see them and ask for it themselves."""

    def __init__(self, session: Session) -> None:
        session.reader.must(Right.CONTACT)
        self.session = session
        self._calls = CallsQueries(session)

    def asked(self, choice: Choice) -> CallsView:
        """The families of a choice, without contacts."""
        band = choice.band if choice.band in BANDS_TO_CALL else None
        wanted = replace(choice, band=band, page=1, per_page=max(PER_PAGE), family_id=None)
        view = self._calls.calls(wanted)
        return replace(view, resting=())

    def with_contacts(self, choice: Choice) -> ContactList:
        """The same with contact and language of each; who asked for how many is logged."""
        view, found = self.asked(choice), self.session.snapshot()
        reached = {
            row.family_id: Reached(*self.session.contact_and_language(found, row.family_id))
            for row in view.rows
        }
        n = len(reached)
        families = "1 family" if n == 1 else f"{n} families"
        self.session.note(Access.PRINTED_CONTACTS, about=families)
        return ContactList(view, reached)
