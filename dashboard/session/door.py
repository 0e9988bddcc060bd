"""What does each page ask, and what may the person who asks see of the answer?"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path

from analysis.ingest import LogFile
from analysis.ingest.mending import ToMend, row_to_mend
from analysis.ingest.refused import as_file
from analysis.snapshot import Snapshot, end_of_day
from analysis.vocabulary import Access
from dashboard.access_log import queries as accesses
from dashboard.access_log.views import AccessesView
from dashboard.addresses.calls import Choice
from dashboard.addresses.dwell import DwellChoice
from dashboard.addresses.family import FamilyChoice
from dashboard.addresses.incoming import IncomingChoice
from dashboard.addresses.rates import RatesChoice
from dashboard.addresses.retraining import NeedsChoice, SessionName
from dashboard.addresses.week import WeekChoice
from dashboard.call_state import queries as call_state
from dashboard.calls.queries import arrangements as arranging
from dashboard.calls.queries import call_list, proof
from dashboard.calls.views import CallsView, Opened
from dashboard.definitions.queries import policy_view
from dashboard.definitions.views import PolicyView
from dashboard.dwell import queries as dwell
from dashboard.dwell.views import DwellView
from dashboard.evidence import queries as evidence
from dashboard.evidence.views import SourceInTime
from dashboard.family.queries import earlier_day as back_in_time
from dashboard.family.queries import histories
from dashboard.family.views import FamilyView
from dashboard.incoming.queries import files as incoming_files
from dashboard.incoming.queries import received as incoming
from dashboard.incoming.queries import row as mending
from dashboard.incoming.views import Bringing, IncomingView, MendedView, MendView, TakenIn
from dashboard.rates.queries import annotations as annotating
from dashboard.rates.queries import rates
from dashboard.rates.views import Annotating, BesideRates, RatesView
from dashboard.retraining.queries import effects as helped
from dashboard.retraining.queries import needs, sessions
from dashboard.retraining.queries import refreshers as marking
from dashboard.retraining.queries.refreshers import RefresherForm
from dashboard.retraining.queries.training import Training
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
from dashboard.session import families, ingesting
from dashboard.session.acting import Acting
from dashboard.session.answers import Answer
from dashboard.session.forms import FormError
from dashboard.session.views import Standing
from dashboard.week import queries as week
from dashboard.week.views import WeekFile, WeekHead


class Queries(Acting):
    """Questions of one person's pages; every answer is what this person may see."""

    # Pages

    def calls(self, choice: Choice) -> CallsView:
        """The call list under a choice of band, site, nurse, language and page."""
        self._reader.must_open(Page.CALLS)
        asked = replace(self._asked(choice), family_id=None)
        view = self.once(
            ("calls", asked, self.seen_as()),
            lambda: call_list.calls_view(self.snapshot(), self.standing(), asked),
        )
        mine = replace(view.choice, family_id=choice.family_id)
        return replace(view, standing=self.standing(), choice=mine)

    def calls_table(self, choice: Choice) -> tuple[str, str]:
        """Name and text of the chosen part of the call list as CSV, which is noted as taken out."""
        self._reader.must_open(Page.CALLS)
        found, asked = self.snapshot(), self._asked(choice)
        name, text = call_list.calls_table(found, asked)
        self.note_export(name)
        return name, text

    def _asked(self, choice: Choice) -> Choice:
        """The choice without what this person may not know."""
        return choice if self._reader.may(Right.LANGUAGE) else replace(choice, language=None)

    def opened(self, family_id: object, choice: Choice) -> Opened | None:
        """The family opened beside the list with its proof; None when there is none such."""
        self._reader.must_open(Page.CALLS)
        found = self.snapshot()
        known = self._opened_family(found, family_id)
        if known is None:
            return None
        asked = replace(self._asked(choice), family_id=None)
        opened = self.once(
            ("opened", known, asked, self.seen_as()), lambda: self._open(known, asked)
        )
        return replace(
            opened,
            standing=self.standing(),
            callers=arranging.callers(found, self._reader.code),
            form=secrets.token_urlsafe(12),
        )

    def _open(self, known: str, choice: Choice) -> Opened:
        """What is the same for all who may see the same; the form is nobody's yet."""
        found = self.snapshot()
        row = call_state.row_of(found, known)
        contact, language = self._how_to_reach(found, known)
        return Opened(
            standing=self.standing(),
            row=row,
            reasons=proof.with_rows(
                call_state.reasons_of(found, known), self._store, found, self._reader
            ),
            calls=call_state.calls_made(found, known),
            arranged=arranging.arranged(found, known),
            callers=(),
            contact=contact,
            language=language,
            recheck_on=found.as_of + timedelta(days=found.edition.settings.recheck_days),
            form="",
            next_family_id=call_list.next_family(found, row, choice),
        )

    def knows(self, family_id: object) -> bool:
        """Whether there is a family with this code that this person may see."""
        return families.known_family(self.snapshot(), family_id) is not None

    def family(self, family_id: object, choice: FamilyChoice) -> FamilyView | None:
        """One family with the history of its lines; None when there is none such."""
        self._reader.must_open(Page.FAMILY)
        known = self._opened_family(self.snapshot(), family_id)
        if known is None:
            return None
        sees = frozenset(str(right) for right in Right if self._reader.may(right))
        asked = ("family", known, choice, sees)
        return self.once(asked, lambda: self._family(known, choice, sees))

    def _family(self, known: str, choice: FamilyChoice, sees: frozenset[str]) -> FamilyView | None:
        alone, looked_back = self._alone(known, choice.known_on)
        if alone is None:
            return None
        whole = alone if looked_back else self.snapshot()
        contact, language = self._how_to_reach(alone, known)
        spans, marks = histories.history_of(alone, known, sees_notes=Right.NOTES in sees)
        lines = histories.line_views(alone, known)
        first, last = histories.shown_days(lines, alone.as_of, choice)
        told, told_in_all, page, pages = histories.page_of_table(spans, marks, first, choice.page)
        return FamilyView(
            family_id=known,
            as_of=alone.as_of,
            now=self.snapshot().as_of,
            edition=alone.edition.version,
            choice=replace(choice, page=page, known_on=alone.as_of if looked_back else None),
            sees=sees,
            row=call_state.row_of(whole, known),
            reasons=call_state.reasons_of(whole, known),
            lines=lines,
            first=first,
            last=last,
            spans=spans,
            marks=marks,
            told=told,
            told_in_all=told_in_all,
            pages=pages,
            caregivers=histories.caregivers(alone, known),
            calls=call_state.calls_made(alone, known),
            contact=contact,
            language=language,
        )

    def standing_on(self, day: date, edition: str) -> Standing:
        """What a page says of itself that stands on an earlier day, as known at its end."""
        now = self.standing()
        if day == now.as_of:
            return now
        known_at = end_of_day(day, self._policy).astimezone(self._policy.zone)
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
        """The source row behind a mark with its versions, if it speaks of the family; else None.

        Parameters
        ----------
        family_id, table, row : object
            What the page sent; nothing in it is trusted.
        known_on : date, optional
            The earlier day on which the page stands.
        """
        self._reader.must_open(Page.FAMILY)
        known = self._opened_family(self.snapshot(), family_id)
        if known is None or not isinstance(table, str) or not isinstance(row, int):
            return None
        alone, _ = self._alone(known, known_on)
        if alone is None or row not in histories.rows_of_family(alone).get(table, frozenset()):
            return None
        return evidence.in_time(table, row, self._store, alone, self._reader)

    def _alone(self, known: str, known_on: date | None) -> tuple[Snapshot | None, bool]:
        """One family alone, on the day or an earlier one, and whether it is an earlier one."""
        kept = self.kept()
        if known_on is None or known_on >= kept.snapshot.as_of:
            return kept.of_family(known), False
        revised = self.once("revised", lambda: back_in_time.revised_rows(self._store))
        return back_in_time.family_on(kept, revised, known, known_on), True

    def policy(self) -> PolicyView:
        """The edition in force on the as-of day, with the source of every number."""
        self._reader.must_open(Page.DEFINITIONS)
        return policy_view(self.snapshot().edition, self.standing())

    def rates(self, choice: RatesChoice) -> RatesView:
        """Rates of an event over time, by group and compared."""
        self._reader.must_open(Page.RATES)
        asked = rates.understood(self.snapshot(), choice)
        return self.once(asked, lambda: rates.rates_view(self.snapshot(), asked), lasting=True)

    def beside_rates(self, view: RatesView) -> BesideRates:
        """What was written beside the rates, and where it stands on the chart of a view."""
        self._reader.must_open(Page.RATES)
        found = annotating.standing(self._store, self.snapshot(), self._reader)
        return BesideRates(found, annotating.marks_on(found, view.chart, view.choice.period))

    def annotating(self) -> Annotating | None:
        """What this person chooses from to write beside the rates; None: may not, or not today."""
        if not (self._reader.may(Right.ANNOTATE) and self.standing().is_today):
            return None
        found = self.snapshot()
        return Annotating(annotating.sites_to_write_for(found, self._reader), found.as_of)

    def dwell(self, choice: DwellChoice) -> DwellView:
        """Dwell time by a grouping."""
        self._reader.must_open(Page.DWELL)
        asked = dwell.understood(choice)
        return self.once(asked, lambda: dwell.dwell_view(self.snapshot(), asked), lasting=True)

    # Retraining

    def needs(self, choice: NeedsChoice) -> NeedsView:
        """Who misses which step too often, the surest first."""
        return needs.needs_view(*self._training(choice))

    def need(self, family_id: object, caregiver_id: object, step: object) -> NeedOpened | None:
        """One need with its proof, the family's surest if only it is named; None: no such."""
        training, _ = self._training(NeedsChoice())
        known = self._opened_family(training.found, family_id)
        place = None if known is None else needs.place_of(training, known, caregiver_id, step)
        if place is None:
            return None
        return needs.need_opened(training, place, self._store, self.standing(), self._reader)

    def picture(self, choice: NeedsChoice) -> PictureView:
        """Which families miss which steps, at one glance."""
        return needs.picture_view(*self._training(choice))

    def skills(self, choice: NeedsChoice) -> SkillsView:
        """Who lately did what a skill is for without a current sign-off."""
        return needs.skills_view(*self._training(choice))

    def sessions(self, choice: NeedsChoice) -> SessionsView:
        """Who could share a session."""
        training, asked = self._training(choice)
        return sessions.sessions_view(training, asked, self._reader)

    def sheet(self, name: SessionName) -> SheetView | None:
        """The sheet of a session; None when no such session is planned."""
        training, _ = self._training(NeedsChoice())
        return sessions.sheet_view(training, name, self._reader)

    def helped(self, choice: NeedsChoice) -> HelpedView:
        """Whether refreshers helped, and whether caregivers learn by doing."""
        return helped.helped_view(*self._training(choice))

    def mark_refresher(self, form: RefresherForm) -> str:
        """Store a refresher that was held; returns a sentence on it.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        found = self._may_mark()
        family_id = families.known_family(found, form.family_id)
        if family_id is None:
            raise FormError("There is no family with this code. Choose one from the list.")
        caregiver = marking.known_caregiver(found, family_id, form.caregiver_id)
        row = marking.row_of(found, caregiver, form)
        said = f"Marked: a refresher of caregiver {caregiver} on {row['signed_on']}."
        marked = marking.marked_here(found, self._store, family_id)
        if any(m.says(row, self._reader.code) for m in marked):  # the form came twice
            return said
        marking.must_be_new(found, row)
        self._store_row(row)
        self._note(Access.MARKED_REFRESHER, family_id, f"caregiver {caregiver}")
        return said

    def take_back_refresher(self, row: object) -> str:
        """Withdraw a refresher that was marked on the page; returns the family.

        Raises
        ------
        FormError
            It is not known (any more), came in another way, or the store cannot be written.
        """
        family_id, row_of_it = marking.withdrawal(self._may_mark(), self._store, row)
        self._store_row(row_of_it)
        about = f"caregiver {row_of_it['caregiver_id']}"
        self._note(Access.TOOK_BACK_REFRESHER, family_id, about)
        return family_id

    def _may_mark(self) -> Snapshot:
        self._reader.must_open(Page.RETRAINING)
        self._reader.must(Right.MARK_REFRESHERS)
        self._only_today("Mark refreshers on today's page.")
        return self.snapshot()

    def _store_row(self, row: dict[str, str]) -> None:
        url = self._config.store_url
        marking.store_row(self._store, url, self._policy, row, self.now(), self._reader.code)

    def _training(self, choice: NeedsChoice) -> tuple[Training, NeedsChoice]:
        """What is known of needs, and the choice as understood."""
        self._reader.must_open(Page.RETRAINING)
        training = self.kept().training
        return training, needs.understood(training, choice)

    def once(
        self, asked: Hashable, work_out: Callable[[], Answer], *, lasting: bool = False
    ) -> Answer:
        """What follows from a choice for everybody with this person's sites, worked out once.

        Parameters
        ----------
        asked : hashable
            The choice, and whatever else about the person the answer depends on: `seen_as` is
            all of it but the code.
        work_out : callable
            Gives the answer; called again when store or day have changed. It has to look at the
            store itself: what was looked at before may be older than what it is kept with.
        lasting : bool
            Recorded calls and arrangements say nothing of it.
        """
        kept = self.kept()
        return (kept.lasting if lasting else kept.answers).of(asked, work_out)

    def seen_as(self) -> Hashable:
        """What this person may see and do, as far as pages differ by it, whoever it is."""
        rights = frozenset(str(right) for right in Right if self._reader.may(right))
        return rights, self._config.as_of in (None, self.now().date())

    # What comes in

    def incoming(self, choice: IncomingChoice) -> IncomingView:
        """Files that came in, how late, what waits to be mended, what is odd."""
        self._reader.must_open(Page.INCOMING)
        view = self.once(
            ("incoming", choice, self.seen_as()),
            lambda: incoming.incoming_view(
                self.snapshot(),
                self._entrance.snapshot(None),
                self._store,
                self.standing(),
                self._reader,
                choice,
                self.bringing(),
            ),
            lasting=True,
        )
        return replace(view, standing=self.standing())

    def bringing(self) -> Bringing | None:
        """What this person may bring in today; None: nothing."""
        if not (self._reader.may(Right.BRING_FILES) and self.standing().is_today):
            return None
        return Bringing(tuple(self._entrance.profiles), self._config.most_upload_bytes)

    def take_in(self, files: Sequence[tuple[Path, str]], source: str | None) -> TakenIn:
        """Take files in as the command line does, each whole or not at all.

        Parameters
        ----------
        files : sequence of (Path, str)
            Where each lies, and the name by which it is known.
        source : str or None
            Name of the source profile; blank: our own form.

        Raises
        ------
        FormError
            No file was chosen, the source is not known, or the store cannot be written now.
        """
        self._reader.must_open(Page.INCOMING)
        self._reader.must(Right.BRING_FILES)
        self._only_today("Bring files in on today's page.")
        before = int(self._store.ingests()["ingest"].max() or 0)
        profile = incoming_files.profile_of(source, self._entrance.profiles)
        summary = ingesting.take_in(
            self._config.store_url,
            [LogFile(path, name) for path, name in files],
            self._policy,
            profile,
            self.now(),
            self._reader.code,
        )
        for name in dict.fromkeys(count.file for count in summary.tables):
            self._note(Access.TOOK_IN_FILE, about=name)
        refused = self._store.refused()
        now = refused[(refused["ingest"] > before).to_numpy(dtype=bool)]
        return incoming_files.taken_in(summary, now, self.snapshot(), self.standing())

    def row_to_mend(self, number: int) -> MendView | None:
        """A refused row as a form; None: it is not on the list (any more).

        Raises
        ------
        FormError
            This is a look at a past day.
        """
        row = self._row_to_mend(number)
        return None if row is None else mending.mend_view(row, self.snapshot(), self.standing())

    def mend(self, number: int, sent: Mapping[str, str]) -> MendView | MendedView | None:
        """Take a mended row in; the form again, with what is wrong now, if it cannot be used.

        Parameters
        ----------
        number : int
            Its number on the list.
        sent : mapping of str to str
            Fields of the form.

        Returns
        -------
        MendView, MendedView or None
            None: the row is not on the list any more.

        Raises
        ------
        FormError
            This is a look at a past day, or the store cannot be written now.
        """
        row = self._row_to_mend(number)
        if row is None:
            return None
        coming = self._next_after(number)
        cells = mending.cells_of(row, sent)
        done = mending.mend(
            self._config.store_url, row, cells, self._policy, self.now(), self._reader.code
        )
        if done is None:
            return None
        found, standing = self.snapshot(), self.standing()
        if isinstance(done, mending.Wrong):
            return mending.mend_view(row, found, standing, cells, done)
        self._note(Access.MENDED_ROW, about=f"{row.table}, number {number}")
        return mending.mended_view(row, done, coming, standing, used=cells["void"] != "yes")

    def _next_after(self, number: int) -> list[int]:
        """Numbers of the other rows on the list, beginning with the one after this."""
        found = self.snapshot()
        listed = incoming.refused_rows(found, found, self._store, self.standing(), self._reader)
        numbers = [int(n) for n in listed["refused_row"]]
        at = numbers.index(number) if number in numbers else 0
        return numbers[at + 1 :] + numbers[:at]

    def _row_to_mend(self, number: int) -> ToMend | None:
        self._reader.must_open(Page.INCOMING)
        self._reader.must(Right.MEND_ROWS)
        self._only_today("Mend rows on today's page.")
        return row_to_mend(self._store, number, self._entrance.profiles)

    def refused_file(self, table: str) -> bytes | None:
        """The file in which refused rows of a table are mended; None: there is none such."""
        self._reader.must_open(Page.INCOMING)
        self._reader.must(Right.MEND_ROWS)
        rows = incoming.refused_rows(
            self.snapshot(), self.snapshot(), self._store, self.standing(), self._reader
        )
        rows = rows[(rows["table"] == table).to_numpy(dtype=bool)].sort_values("refused_row")
        if rows.empty:
            return None
        self.note_export(f"refused rows of {table}")
        return as_file(rows, table)

    def week_head(self, choice: WeekChoice) -> WeekHead:
        """Which week's digest is shown, for whom, and which others may be chosen."""
        self._reader.must_open(Page.WEEK)
        return week.week_head(self.snapshot(), self.standing(), choice)

    def week_body(self, choice: WeekChoice) -> str:
        """The digest of a choice as part of a page: HTML with every text escaped."""
        return week.as_body(self._paper(self.week_head(choice).choice))

    def week_file(self, choice: WeekChoice, kind: str) -> WeekFile:
        """The same digest as a file, `html` or `pdf`.

        Raises
        ------
        PdfError
            No PDF can be made on this machine; a sentence.
        """
        asked = self.week_head(choice).choice
        made = week.as_file(self._paper(asked), asked, kind)
        self.note_export(made.name)
        return made

    def _paper(self, asked: WeekChoice) -> week.Report:
        kept = self.kept()
        make = partial(week.week_report, self._store, kept.snapshot, self._reader, asked)
        return kept.papers.of(asked, make)

    # The access record

    def accesses(self) -> AccessesView:
        """Who opened what, newest first, as far as it speaks of families this person may see."""
        self._reader.must_open(Page.RECORD)
        return accesses.accesses_view(
            self._store.people, self.snapshot(), self.standing(), self._reader
        )

    def note_export(self, table: str) -> None:
        """Note that this person takes a table out of the dashboard."""
        self._note(Access.EXPORTED_TABLE, about=table)

    def _opened_family(self, found: Snapshot, family_id: object) -> str | None:
        """The code of a family that is now opened, which is noted; None: no such for this person."""
        known = families.known_family(found, family_id)
        if known is not None:
            self._note(Access.OPENED_FAMILY, known)
        elif self._reader.sites is not None:
            other = families.known_family(self._entrance.snapshot(None), family_id)
            if other is not None:
                self._note(Access.REFUSED, other, "a family of another site")
        return known

    def _how_to_reach(self, found: Snapshot, family_id: str) -> tuple[str | None, str | None]:
        contact, language = families.how_to_reach(found, family_id)
        return (
            contact if self._reader.may(Right.CONTACT) else None,
            language if self._reader.may(Right.LANGUAGE) else None,
        )
