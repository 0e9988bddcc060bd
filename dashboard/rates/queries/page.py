"""What does the rates page show to this person, and which notes do they add?"""

from __future__ import annotations

from contextlib import suppress

from analysis.decisions.signal_work import STATES, Signals, signals
from analysis.measures.surveillance import surveillance
from analysis.store import StoreError
from analysis.vocabulary import Access
from dashboard.addresses.rates import RatesChoice
from dashboard.changes.views import Changes
from dashboard.rates.queries import annotations as notes
from dashboard.rates.queries import rates, work
from dashboard.rates.queries.annotations import AnnotationForm
from dashboard.rates.queries.changes import changes_of_rates
from dashboard.rates.queries.work import SignalForm
from dashboard.rates.views import Annotating, Annotation, NotesOfRates, RatesView, Work
from dashboard.security.roles import Page, Right
from dashboard.session.forms import FormError
from dashboard.session.session import Session


class RatesQueries:
    """Questions of the page of rates, for the person and on the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.RATES)
        self.session = session
        self._signals: Signals | None = None

    def rates(self, choice: RatesChoice) -> RatesView:
        """Rates of an event over time, by group and compared."""
        found = self.session.snapshot()
        asked = self.session.cached(
            ("choice of rates", choice), lambda: rates.understood(found, choice), lasting=True
        )
        headline = self.signals().headline
        return self.session.cached(
            (asked, headline.sentence),
            lambda: rates.rates_view(found, asked, headline),
            lasting=True,
        )

    def false_alarms(self, choice: RatesChoice) -> str:
        """How often a chart like the one shown gives a false signal; empty: not known."""
        view = self.rates(choice)
        asked = view.choice
        narrowed = (asked.site, asked.line_type, asked.nurse)
        key = ("false alarms", asked.event, asked.basis, asked.period, asked.baseline, narrowed)
        found = self.session.snapshot()
        return self.session.cached(key, lambda: rates.false_alarms(found, view), lasting=True)

    def signals(self) -> Signals:
        """Has harm risen anywhere, and what is being done? The same under every choice."""
        if self._signals is None:
            self._signals = self._signals_now()
        return self._signals

    def _signals_now(self) -> Signals:
        found = self.session.snapshot()
        followed = self.session.cached("followed", lambda: surveillance(found), lasting=True)
        some_sites = self.session.reader.sites is not None
        acts = self.session.store.signal_acts
        return self.session.cached_until_written(
            "signals", lambda: signals(followed, acts(found.known_at), some_sites=some_sites)
        )

    def notes_of(self, view: RatesView) -> NotesOfRates:
        """The notes on the chart, and where each is on the chart of a view."""
        found = self._notes()
        marks = self.session.cached(
            ("marks of notes", found, view.choice),
            lambda: notes.marks_on(found, view.chart, view.choice.period),
            lasting=True,
        )
        return NotesOfRates(found, marks)

    def changes(self, *, marks: bool = False) -> Changes:
        """What changed since this person last looked; `marks`: it is marked as seen now."""
        return changes_of_rates(self.session, self.signals(), self._notes(), marks=marks)

    def _notes(self) -> tuple[Annotation, ...]:
        session = self.session
        return session.cached_until_written(
            "notes of rates",
            lambda: notes.shown_notes(session.store, session.snapshot(), session.reader),
        )

    def work(self) -> tuple[Work, ...]:
        """Signals with their state, owner and notes, open ones first."""
        found, sites = self.session.snapshot(), self._sites_to_write_for()
        may_act = self.annotating() is not None
        return tuple(
            work.work_of(signal, found.policy.zone, may_act and work.site_of(signal) in sites)
            for signal in self.signals().worked
        )

    def keep_signals(self) -> None:
        """Write down signals that nobody touched, so that each stays until somebody closes it.

        Without it a signal would go when its months become part of the baseline. Nothing is written
        on a past day, for people who may not act on signals, or where the store cannot be written.
        """
        session, found = self.session, self.session.snapshot()
        if self.annotating() is None or found.known_at < session.now():
            return
        sites = self._sites_to_write_for()
        for signal in self.signals().worked:
            if signal.notes or work.site_of(signal) not in sites:
                continue
            rate = signal.verdict.rate
            self._signals = None
            with suppress(StoreError):
                session.store.act_on_signal(
                    rate.event,
                    rate.site,
                    signal.state,
                    owner=None,
                    note=None,
                    strength=rate.strength,
                    made_by=session.reader.code,
                    made_at=session.now(),
                )

    def act_on_signal(self, form: SignalForm) -> str:
        """Set state and owner of a signal, with a note; returns a sentence.

        Raises
        ------
        FormError
            Something typed in does not fit, the signal is not known, or the store cannot be
            written.
        """
        session = self._may_annotate()
        signal = work.asked_for(form, self.signals().worked)
        self._signals = None
        if work.site_of(signal) not in self._sites_to_write_for():
            raise FormError("This signal is of sites that you do not see.")
        state, owner, note = work.checked(form)
        rate = signal.verdict.rate
        try:
            session.store.act_on_signal(
                rate.event,
                rate.site,
                state,
                owner=owner,
                note=note,
                strength=rate.strength,
                made_by=session.reader.code,
                made_at=session.now(),
            )
        except StoreError as fault:
            raise FormError(f"Nothing was saved. {fault}") from None
        session.note(Access.ACTED_ON_SIGNAL, about=f"{rate.event} {rate.site}")
        return f"Saved: {work.title_of(signal)} is {STATES[state]}."

    def annotating(self) -> Annotating | None:
        """What this person chooses from to add a note; None: may not, or not today."""
        session = self.session
        if not (session.reader.may(Right.ANNOTATE) and session.context().is_today):
            return None
        return Annotating(self._sites_to_write_for(), session.snapshot().as_of)

    def _sites_to_write_for(self) -> tuple[str, ...]:
        session = self.session
        return session.cached(
            ("sites to write for", session.reader.sites),
            lambda: notes.sites_to_write_for(session.snapshot(), session.reader),
            lasting=True,
        )

    def annotate(self, form: AnnotationForm) -> str:
        """Add a note to the rates; returns a sentence. The same note twice is one.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        session = self._may_annotate()
        found = session.snapshot()
        text = notes.checked_text(form.text)
        day = notes.checked_day(form.on_day, found.as_of)
        site = notes.checked_site(form.site, self._sites_to_write_for())
        try:
            row = session.store.annotate(day, text, site, session.reader.code, session.now())
        except StoreError as fault:
            raise FormError(f"The note was not saved. {fault}") from None
        if row is None:
            return "This note is already there."
        session.note(Access.ANNOTATED_RATES, about=f"annotation {row}")
        return "Note added to the chart and the table."

    def withdraw_annotation(self, row: object) -> str:
        """Remove a note from the rates; returns a sentence.

        Raises
        ------
        FormError
            It is not known (any more), is about sites this person may not write for, or the store
            cannot be written.
        """
        session = self._may_annotate()
        there = {a.row: a for a in self._notes()}
        mine = there.get(row) if isinstance(row, int) else None
        if mine is None:
            raise FormError("This note was removed. Reload the page.")
        if (mine.site or "") not in self._sites_to_write_for():
            raise FormError(
                "This note is for all sites: only a person who sees all of them can remove it."
            )
        try:
            session.store.withdraw_annotation(mine.row, session.reader.code, session.now())
        except StoreError as fault:
            raise FormError(f"The note was not removed. {fault}") from None
        session.note(Access.WITHDREW_ANNOTATION, about=f"annotation {mine.row}")
        return "Note removed. Views of earlier days still show it."

    def _may_annotate(self) -> Session:
        self.session.reader.must(Right.ANNOTATE)
        self.session.require_today("Notes can only be added in today's view.")
        return self.session
