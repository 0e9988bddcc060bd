"""What does the page of incoming data show to the person who asks, and what do they import?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from analysis.ingest import LogFile
from analysis.ingest.fixing import RowToFix, row_to_fix
from analysis.ingest.refused import as_file
from analysis.starter import kit_files, texts_in_english, zipped
from analysis.vocabulary import Access
from dashboard.addresses.incoming import IncomingChoice
from dashboard.incoming.held import HeldFiles
from dashboard.incoming.queries import cause, describing, doubt, received, row
from dashboard.incoming.queries import files as incoming_files
from dashboard.incoming.views import (
    Bringing,
    CausePage,
    Described,
    EntryDone,
    IncomingView,
    Previewed,
    RowCorrected,
    RowForm,
    SourceSaved,
    TakenIn,
)
from dashboard.security.roles import Page, Right
from dashboard.session import ingesting
from dashboard.session.forms import FormError
from dashboard.session.session import Session

NO_LONGER_HERE = (
    "These files are no longer here: they were imported, left or checked too long ago. Choose them "
    "again."
)


class IncomingQueries:
    """Questions of the page of incoming data, for the person and the snapshot of a request."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.INCOMING)
        self.session = session

    def incoming(self, choice: IncomingChoice) -> IncomingView:
        """Files that came in, how late, which rows to correct, what is doubtful."""
        session = self.session
        view = session.cached(
            ("incoming", choice, session.seen_as()),
            lambda: received.incoming_view(
                session.snapshot(),
                session.snapshot_of_all_sites(),
                session.store,
                session.context(),
                session.reader,
                choice,
                self.bringing(),
            ),
            lasting=True,
        )
        return replace(view, context=session.context())

    def bringing(self) -> Bringing | None:
        """What this person may import today; None: nothing."""
        session = self.session
        if not (session.reader.may(Right.BRING_FILES) and session.context().is_today):
            return None
        return Bringing(tuple(session.service.profiles), session.config.most_upload_bytes)

    def starter_kit(self) -> bytes:
        """The starter kit of the policy in force, as one archive."""
        session = self.session
        policy, day = session.policy, session.context().as_of

        def made() -> bytes:
            edition = policy.on(day)
            zone = policy.time_zone if session.store.policy() is not None else None
            return zipped(kit_files(policy, edition, texts_in_english(edition), zone))

        return session.cached(("starter kit", day), made, lasting=True)

    def take_in(self, files: Sequence[tuple[Path, str]], source: str | None) -> TakenIn:
        """Import files as the command line does, each whole or not at all.

        Parameters
        ----------
        files : sequence of (Path, str)
            Where each is, and the name by which it is known.
        source : str or None
            Name of the source profile; blank: our own form.

        Raises
        ------
        FormError
            No file was chosen, the source is not known, or the store cannot be written now.
        """
        session = self.session
        session.reader.must(Right.BRING_FILES)
        session.require_today("Import files on today's page.")
        before = int(session.store.ingests()["ingest"].max() or 0)
        profile = incoming_files.profile_of(source, session.service.profiles)
        summary = ingesting.take_in(
            session.config.store_url,
            [LogFile(path, name) for path, name in files],
            session.policy,
            profile,
            session.now(),
            session.reader.code,
        )
        for name in dict.fromkeys(count.file for count in summary.tables):
            session.note(Access.TOOK_IN_FILE, about=name)
        session.refresh()
        refused = session.store.refused()
        now = refused[(refused["ingest"] > before).to_numpy(dtype=bool)]
        names = () if source else [name for _, name in files]
        found = session.snapshot()
        return incoming_files.taken_in(summary, names, now, found, session.context())

    def preview(self, files: Sequence[tuple[Path, str]], source: str | None) -> Previewed:
        """Show what files would become, store nothing, and hold them until that is answered.

        Parameters
        ----------
        files : sequence of (Path, str)
            As for :meth:`take_in`; they are moved away.
        source : str or None
            As for :meth:`take_in`.

        Raises
        ------
        FormError
            As for :meth:`take_in`.
        """
        session = self.session
        session.reader.must(Right.BRING_FILES)
        session.require_today("Import files on today's page.")
        profile = incoming_files.profile_of(source, session.service.profiles)
        found = ingesting.preview_files(
            session.config.store_url,
            [LogFile(path, name) for path, name in files],
            session.policy,
            profile,
            session.now(),
        )
        held = self._held.hold(session.reader.code, files, source)
        names = () if source else [name for _, name in held.files]
        return incoming_files.previewed(found, held.number, names, session.context())

    def take_in_held(self, number: str) -> TakenIn:
        """Import the files of a preview, and delete them here.

        Raises
        ------
        FormError
            They are not here any more; else as for :meth:`take_in`.
        """
        self.session.reader.must(Right.BRING_FILES)
        held = self._held.held(self.session.reader.code, number)
        if held is None:
            raise FormError(NO_LONGER_HERE)
        done = self.take_in(held.files, held.source)
        self._held.drop(self.session.reader.code)
        return done

    def leave_held(self, number: str) -> None:
        """Delete the files of a preview."""
        self.session.reader.must(Right.BRING_FILES)
        if self._held.held(self.session.reader.code, number) is not None:
            self._held.drop(self.session.reader.code)

    def hold(self, files: Sequence[tuple[Path, str]]) -> str:
        """Hold files until they are imported or left; returns the number of the upload.

        Raises
        ------
        FormError
            No file was chosen, or this is the page of an earlier day.
        """
        self.session.reader.must(Right.BRING_FILES)
        self.session.require_today("Import files on today's page.")
        if not files:
            raise FormError("No file was chosen. Choose one or more log files.")
        return self._held.hold(self.session.reader.code, files, None).number

    def described(self, number: str, form: Mapping[str, str]) -> Described:
        """The source profile proposed for a file of a held upload, by the answers so far.

        The form's `file` is its place in the upload; the first file without one.

        Raises
        ------
        FormError
            The upload is not here any more, or the file cannot be read.
        """
        session = self.session
        session.reader.must(Right.BRING_FILES)
        session.require_today("Import files on today's page.")
        held = self._held.held(session.reader.code, number)
        if held is None:
            raise FormError(NO_LONGER_HERE)
        at = form.get("file", "")
        place = int(at) if at.isdecimal() and int(at) < len(held.files) else 0
        return describing.described(
            session.config.store_url,
            held.files[place],
            place,
            number,
            describing.Asked.of(form, held.files[place][1]),
            session.policy,
            session.now(),
            session.context(),
        )

    def save_source(self, found: Described) -> SourceSaved:
        """Store the profile as it was shown.

        Raises
        ------
        FormError
            Something is open, or the store cannot be written now.
        """
        session = self.session
        session.reader.must(Right.BRING_FILES)
        version = describing.save(
            session.config.store_url, found, session.reader.code, session.now()
        )
        session.note(Access.DESCRIBED_SOURCE, about=f"{found.name}, version {version}")
        return SourceSaved(session.context(), found.number, found.name, version)

    @property
    def _held(self) -> HeldFiles:
        return HeldFiles.of_store(self.session.config.store_url)

    def row_to_correct(self, number: int) -> RowForm | None:
        """A refused row as a form; None: it is not on the list (any more).

        Raises
        ------
        FormError
            This is the page of an earlier day.
        """
        found = self._row_to_correct(number)
        if found is None:
            return None
        return row.row_form(found, self.session.snapshot(), self.session.context())

    def correct(self, number: int, sent: Mapping[str, str]) -> RowForm | RowCorrected | None:
        """Store a corrected row; the form again, with what is wrong now, if it cannot be used.

        Parameters
        ----------
        number : int
            Its number on the list.
        sent : mapping of str to str
            Fields of the form.

        Returns
        -------
        RowForm, RowCorrected or None
            None: the row is not on the list any more.

        Raises
        ------
        FormError
            This is the page of an earlier day, or the store cannot be written now.
        """
        session = self.session
        found = self._row_to_correct(number)
        if found is None:
            return None
        coming = self._next_after(number)
        cells = row.cells_of(found, sent)
        done = row.correct(
            session.config.store_url,
            found,
            cells,
            session.policy,
            session.now(),
            session.reader.code,
        )
        if done is None:
            return None
        session.refresh()
        if isinstance(done, row.Wrong):
            return row.row_form(found, session.snapshot(), session.context(), cells, done)
        session.note(Access.MENDED_ROW, about=f"{found.table}, number {number}")
        used = cells["void"] != "yes"
        return row.row_corrected(found, done, coming, session.context(), used=used)

    def cause(self, asked: Sequence[str | None], written: str, do: str) -> CausePage:
        """All refused rows of one cause: shown, tried (`do` is ``show``) or corrected (``save``).

        Raises
        ------
        FormError
            This is the page of an earlier day, nothing was chosen, or the store cannot be written.
        """
        session = self.session
        session.reader.must(Right.CORRECT_ROWS)
        session.require_today("Correct rows on today's page.")
        found, context = session.snapshot(), session.context()
        rows = received.refused_rows(found, found, session.store, context, session.reader)
        one = cause.choice_of(rows, asked)
        if one is None or do not in {"show", "save"}:
            return CausePage(context, one, written, None, done=False)
        effect = cause.effect(
            session.config.store_url,
            one,
            written,
            session.policy,
            session.now(),
            session.reader.code,
            keep=do == "save",
        )
        if do == "save":
            session.refresh()
            about = f"{one.table}, {one.n_rows} rows of one cause"
            session.note(Access.MENDED_ROW, about=about)
        return CausePage(session.context(), one, written, effect, done=do == "save")

    def undo_cause(self, ingests: str) -> CausePage:
        """Undo corrections by the numbers of their ingests.

        Raises
        ------
        FormError
            They are no corrections or were undone, or the store cannot be written now.
        """
        session = self.session
        session.reader.must(Right.CORRECT_ROWS)
        session.require_today("Correct rows on today's page.")
        numbers = [int(n) for n in ingests.split() if n.isdecimal() and len(n) < 18]
        cause.undo(session.config.store_url, numbers, session.reader.code, session.now())
        session.refresh()
        session.note(Access.MENDED_ROW, about="correction of rows of one cause undone")
        return CausePage(session.context(), None, "", None, done=True)

    def void(self, number: int, *, undo: bool) -> EntryDone:
        """Void a log entry without a number of its own, or undo that.

        Raises
        ------
        FormError
            This is the page of an earlier day, the entry cannot be voided (any more), or the
            store cannot be written now.
        """
        session = self.session
        session.reader.must(Right.CORRECT_ROWS)
        session.require_today("Correct rows on today's page.")
        place = doubt.void(
            session.config.store_url, number, session.reader.code, session.now(), undo=undo
        )
        session.refresh()
        what = "void undone" if undo else "voided"
        session.note(Access.MENDED_ROW, about=f"home_log, entry {number} {what}")
        return EntryDone(session.context(), number, place, voided=not undo)

    def refused_file(self, table: str) -> bytes | None:
        """A file of the refused rows of a table to correct; None: there is none such."""
        session = self.session
        session.reader.must(Right.CORRECT_ROWS)
        found = session.snapshot()
        context = session.context()
        rows = received.refused_rows(found, found, session.store, context, session.reader)
        rows = rows[(rows["table"] == table).to_numpy(dtype=bool)].sort_values("refused_row")
        if rows.empty:
            return None
        session.note_export(f"refused rows of {table}")
        return as_file(rows, table)

    def _next_after(self, number: int) -> list[int]:
        """Numbers of the other rows on the list, beginning with the one after this."""
        session, found = self.session, self.session.snapshot()
        context = session.context()
        rows = received.refused_rows(found, found, session.store, context, session.reader)
        numbers = [int(n) for n in rows["refused_row"]]
        at = numbers.index(number) if number in numbers else 0
        return numbers[at + 1 :] + numbers[:at]

    def _row_to_correct(self, number: int) -> RowToFix | None:
        session = self.session
        session.reader.must(Right.CORRECT_ROWS)
        session.require_today("Correct rows on today's page.")
        return row_to_fix(session.store, number, session.service.profiles)
