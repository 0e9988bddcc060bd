"""What does the list of all families show to the person who asks?"""

from __future__ import annotations

from dataclasses import replace

from analysis.decisions.every_family import PLACES
from dashboard.addresses.calls import Choice
from dashboard.addresses.families import FAMILIES, FamiliesChoice
from dashboard.addresses.family import FamilyChoice, family_address
from dashboard.changes.queries.call_list import changes_of_calls
from dashboard.changes.views import Changes
from dashboard.families.views import FamiliesView, FamilyRow
from dashboard.family_lists.queries import families_chosen, with_code
from dashboard.security.roles import Page
from dashboard.session.frames import cells, codes, day, distinct
from dashboard.session.session import Session
from dashboard.session.views import PageContext

PER_PAGE = 100


class FamiliesQueries:
    """Questions of the list of all families, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.FAMILIES)
        self.session = session

    def families(self, choice: FamiliesChoice) -> FamiliesView:
        """One page of the families that a choice names."""
        context = self.session.context()
        view = self.session.cached(("families", choice), lambda: self._families(choice, context))
        return replace(view, context=context)

    def _families(self, choice: FamiliesChoice, context: PageContext) -> FamiliesView:
        session = self.session
        chosen = families_chosen(session, choice)
        every = families_chosen(session, FamiliesChoice())
        pages = max(1, -(-len(chosen) // PER_PAGE))
        page = min(max(choice.page, 1), pages)
        shown = chosen.iloc[(page - 1) * PER_PAGE : page * PER_PAGE]
        names = (
            *("family_id", "place", "days_overdue", "silent"),
            *("last_heard_on", "nurse", "site", "n_lines"),
        )
        there = set(every["place"])
        return FamiliesView(
            context=context,
            choice=replace(choice, page=page),
            rows=tuple(
                FamilyRow(
                    family_id=family,
                    place=str(place),
                    days_overdue=int(overdue),
                    silent=bool(silent),
                    last_heard_on=day(heard),
                    nurses=codes(nurse),
                    sites=codes(site),
                    n_lines=int(n_lines),
                )
                for family, place, overdue, silent, heard, nurse, site, n_lines in cells(
                    shown, *names
                )
            ),
            total=len(chosen),
            pages=pages,
            every=len(every),
            places=tuple(place for place in PLACES if place in there),
            sites=distinct(every["site"].str.split(";").explode()),
            nurses=distinct(every["nurse"].str.split(";").explode()),
        )

    def changes(self, choice: FamiliesChoice, *, marks: bool = False) -> Changes:
        """What changed since this person last looked; `marks`: it is marked as seen now."""
        return changes_of_calls(
            self.session,
            Choice(site=choice.site, nurse=choice.nurse),
            lambda family_id: family_address(family_id, FamilyChoice(opened_from=FAMILIES)),
            marks=marks,
        )

    def found(self, text: str) -> str | None:
        """The one family that a search means; None: there are several, or none.

        A whole code of a family, child or line means its family, also where it is a part of
        other codes.
        """
        named = with_code(self.session, text.strip()) if text.strip() else []
        if not named:
            named = list(families_chosen(self.session, FamiliesChoice(q=text))["family_id"])
        return str(named[0]) if len(named) == 1 else None
