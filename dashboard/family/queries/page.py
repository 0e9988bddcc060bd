"""What does a family's page show to the person who asks?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from analysis.snapshot import end_of_day
from dashboard.addresses.family import FamilyChoice
from dashboard.call_actions.queries import acts_of, for_person
from dashboard.call_actions.views import Acts
from dashboard.call_state import queries as call_state
from dashboard.evidence import queries as evidence
from dashboard.evidence.views import SourceInTime
from dashboard.family.queries import earlier_day, histories
from dashboard.family.views import FamilyView
from dashboard.family_lists.queries import Neighbours, neighbours
from dashboard.security.roles import Page, Right
from dashboard.session.loaded import LoadedSnapshot
from dashboard.session.session import Session
from dashboard.session.views import PageContext


class FamilyQueries:
    """Questions of a family's page, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.FAMILY)
        self.session = session

    def family(self, family_id: object, choice: FamilyChoice) -> FamilyView | None:
        """One family with the history of its lines; None when there is no such family, or it has none."""
        session = self.session
        known = session.open_family(family_id)
        if known is None:
            return None
        sees = frozenset(str(right) for right in Right if session.reader.may(right))
        key = ("family", known, choice, sees, session.may_open(Page.RETRAINING))
        return session.cached(key, lambda: self._family(known, choice, sees))

    def _family(self, known: str, choice: FamilyChoice, sees: frozenset[str]) -> FamilyView | None:
        session = self.session
        loaded = self._on(known, choice.known_on)
        if loaded is None:
            return None
        is_earlier, found = loaded is not session.loaded(), loaded.snapshot
        acts = None if is_earlier else acts_of(session, known)
        contact, language = session.contact_and_language(found, known)
        lines = histories.line_views(loaded, known)
        if not lines:
            return None
        first, last = histories.shown_days(lines, found.as_of, choice)
        spans, marks = histories.history_of(loaded, known, first, sees_notes=Right.NOTES in sees)
        table, table_rows, page, pages = histories.page_of_table(spans, marks, first, choice.page)
        return FamilyView(
            family_id=known,
            as_of=found.as_of,
            now=session.snapshot().as_of,
            edition=found.edition.version,
            choice=replace(choice, page=page, known_on=found.as_of if is_earlier else None),
            sees=sees,
            row=call_state.row_of(found, known) if acts is None else acts.row,
            reasons=call_state.reasons_of(found, known),
            lines=lines,
            first=first,
            last=last,
            spans=tuple(spans),
            marks=tuple(marks),
            table=table,
            table_rows=table_rows,
            pages=pages,
            caregivers=histories.caregivers(loaded, known),
            calls=call_state.calls_made(found, known) if acts is None else acts.calls,
            needs=()
            if is_earlier or not session.may_open(Page.RETRAINING)
            else call_state.needs_of(found, known),
            contact=contact,
            language=language,
        )

    def acts(self, view: FamilyView) -> Acts | None:
        """What can be recorded of the family now; None for who may not, or on an earlier day."""
        session = self.session
        context = self.context_on(view.as_of, view.edition)
        if not (context.records_calls and session.may_open(Page.CALLS)):
            return None
        return for_person(session, acts_of(session, view.family_id))

    def recorded(self, family_id: str | None, choice: FamilyChoice) -> Acts | None:
        """The same while the page is open, which nobody asked for; None: no such family."""
        session = self.session
        known = session.family_shown_first(family_id)
        if known is None or choice.known_on is not None or not session.may_open(Page.CALLS):
            return None
        return for_person(session, acts_of(session, known))

    def on_list(self, view: FamilyView) -> Neighbours | None:
        """The family's place on the list that it was opened from."""
        address = view.choice.opened_from
        return None if address is None else neighbours(self.session, address, view.family_id)

    def context_on(self, day: date, edition: str) -> PageContext:
        """The context of a page that shows an earlier day."""
        session = self.session
        now = session.context()
        if day == now.as_of:
            return now
        known_at = end_of_day(day, session.policy).astimezone(session.policy.zone)
        return replace(
            now,
            as_of=day,
            known_at=known_at,
            knows_whole_day=True,
            is_today=False,
            records_calls=False,
            edition=edition,
        )

    def source(
        self, family_id: object, table: object, row: object, known_on: date | None = None
    ) -> SourceInTime | None:
        """The stored row behind a mark with its versions, if it is about the family; else None.

        Parameters
        ----------
        family_id, table, row : object
            What the page sent; nothing in it is trusted.
        known_on : date, optional
            The earlier day that the page shows.
        """
        known = self.session.open_family(family_id)
        if known is None or not isinstance(table, str) or not isinstance(row, int):
            return None
        loaded = self._on(known, known_on)
        alone = None if loaded is None else loaded.of_family(known)
        if alone is None or row not in histories.rows_of_family(alone).get(table, frozenset()):
            return None
        return evidence.in_time(table, row, self.session.store, alone, self.session.reader)

    def _on(self, known: str, known_on: date | None) -> LoadedSnapshot | None:
        """Data of the day, or of the family alone on an earlier one; None: no line was known then."""
        session = self.session
        loaded = session.loaded()
        if known_on is None or known_on >= loaded.snapshot.as_of:
            return loaded
        revised = session.cached("revised", lambda: earlier_day.revised_rows(session.store))
        alone = earlier_day.family_on(loaded, revised, known, known_on)
        return None if alone is None else LoadedSnapshot(alone)
