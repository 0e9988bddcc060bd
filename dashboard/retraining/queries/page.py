"""What does the educator's page show to the person who asks, and what do they mark on it?"""

from __future__ import annotations

from dataclasses import replace

from analysis.snapshot import Snapshot
from analysis.vocabulary import Access
from dashboard.addresses.retraining import NeedsChoice, SessionName
from dashboard.retraining.queries import dated, effects, needs, refreshers, sessions
from dashboard.retraining.queries.refreshers import RefresherForm
from dashboard.retraining.queries.training import Training
from dashboard.retraining.session_views import Session as TrainingSession
from dashboard.retraining.views import (
    HelpedView,
    NeedOpened,
    NeedsView,
    PictureView,
    SessionsView,
    SheetView,
    SkillsView,
)
from dashboard.security.roles import Page, Right
from dashboard.session import families
from dashboard.session.forms import FormError
from dashboard.session.loaded import LoadedSnapshot
from dashboard.session.session import Session


def training_of(loaded: LoadedSnapshot) -> Training:
    """Who misses which step, computed once for a snapshot."""
    return loaded.lasting.get("training", lambda: Training(loaded.snapshot))


def warm_up(loaded: LoadedSnapshot) -> None:
    """Compute now what the page would compute when it is first opened."""
    _ = training_of(loaded).needs, loaded.snapshot.counted_practice


class RetrainingQueries:
    """Questions of the educator's page, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.RETRAINING)
        self.session = session

    def needs(self, choice: NeedsChoice) -> NeedsView:
        """Who misses which step too often, the surest first."""
        asked = self._training(choice)
        return self.session.cached(
            ("needs", asked[1]), lambda: needs.needs_view(*asked), lasting=True
        )

    def need(
        self, family_id: object, caregiver_id: object, step: object, *, asked_for: bool = True
    ) -> NeedOpened | None:
        """One need with its log entries, the family's surest if only it is named; None: no such.

        `asked_for`: a person opened it, which is logged; otherwise the page shows it first.
        """
        session = self.session
        training = training_of(session.loaded())
        known = (session.open_family if asked_for else session.family_shown_first)(family_id)
        place = None if known is None else needs.place_of(training, known, caregiver_id, step)
        if place is None:
            return None
        context = session.context()
        opened = session.cached_until_written(
            ("need", place, session.seen_as()),
            lambda: needs.need_opened(training, place, session.store, context, session.reader),
        )
        return replace(opened, context=context)

    def picture(self, choice: NeedsChoice) -> PictureView:
        """Which families miss which steps, at one glance."""
        asked = self._training(choice)
        return self.session.cached(
            ("picture of needs", asked[1].site), lambda: needs.picture_view(*asked), lasting=True
        )

    def skills(self, choice: NeedsChoice) -> SkillsView:
        """Who lately did what a skill is for without a current sign-off."""
        training, asked = self._training(choice)
        return self.session.cached(
            ("skills", asked.site, asked.skill),
            lambda: needs.skills_view(training, asked),
            lasting=True,
        )

    def sessions(self, choice: NeedsChoice) -> SessionsView:
        """Who could share a session."""
        training, asked = self._training(choice)
        reader = self.session.reader
        return self.session.cached(
            ("sessions", asked.site, asked.together, asked.size, reader.may(Right.LANGUAGE)),
            lambda: sessions.sessions_view(training, asked, reader),
            lasting=True,
        )

    def sheet(self, name: SessionName) -> SheetView | None:
        """The sheet of a session; None when no such session is planned."""
        training = training_of(self.session.loaded())
        return sessions.sheet_view(training, name, self.session.reader)

    def dated(self) -> tuple[TrainingSession, ...]:
        """Training sessions that this person may see, by day."""
        found, session = self.session.snapshot(), self.session
        known = session.store.sessions.known
        return session.cached_until_written(
            ("training sessions", session.reader.code),
            lambda: dated.visible(found, known(found.known_at), session.reader.code),
        )

    def helped(self, choice: NeedsChoice) -> HelpedView:
        """Whether refreshers helped, and whether caregivers learn by doing."""
        return effects.helped_view(*self._training(choice))

    def mark_refresher(self, form: RefresherForm) -> str:
        """Store a refresher that was held; returns a sentence on it.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        session, found = self.session, self._may_mark()
        family_id = families.known_family(session.loaded(), form.family_id)
        if family_id is None:
            raise FormError("There is no family with this code. Choose one from the list.")
        caregiver = refreshers.known_caregiver(found, family_id, form.caregiver_id)
        row = refreshers.row_of(found, caregiver, form)
        done = f"Marked: a refresher of caregiver {caregiver} on {refreshers.day_words(row['signed_on'])}."
        marked = refreshers.marked_here(found, session.store, family_id)
        if any(m.says(row, session.reader.code) for m in marked):  # the form came twice
            return done
        refreshers.must_be_new(found, row)
        self._store_row(row)
        session.note(Access.MARKED_REFRESHER, family_id, f"caregiver {caregiver}")
        return done

    def undo_refresher(self, row: object) -> str:
        """Undo a refresher that was marked on the page; returns the family.

        Raises
        ------
        FormError
            It is not known (any more), came in another way, or the store cannot be written.
        """
        session = self.session
        family_id, withdrawal = refreshers.withdrawal(self._may_mark(), session.store, row)
        self._store_row(withdrawal)
        about = f"caregiver {withdrawal['caregiver_id']}"
        session.note(Access.TOOK_BACK_REFRESHER, family_id, about)
        return family_id

    def _may_mark(self) -> Snapshot:
        self.session.reader.must(Right.MARK_REFRESHERS)
        self.session.require_today("Mark refreshers on today's page.")
        return self.session.snapshot()

    def _store_row(self, row: dict[str, str]) -> None:
        session = self.session
        url, who = session.config.store_url, session.reader.code
        refreshers.store_rows(session.store, url, session.policy, [row], session.now(), who)

    def _training(self, choice: NeedsChoice) -> tuple[Training, NeedsChoice]:
        """What is known of needs, and the choice as understood."""
        training = training_of(self.session.loaded())
        understood = self.session.cached(
            ("choice of needs", choice), lambda: needs.understood(training, choice), lasting=True
        )
        return training, understood
