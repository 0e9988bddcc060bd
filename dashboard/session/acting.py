"""What does a person record: calls, who makes the next one, what is set aside; and take back?"""

from __future__ import annotations

from analysis.store import RecordedBeforeError, StoreError
from analysis.vocabulary import Access, Arrangement
from dashboard.call_state import queries as call_state
from dashboard.calls.queries import arrangements as arranging
from dashboard.calls.queries import call_form
from dashboard.calls.queries.arrangements import ArrangeForm
from dashboard.calls.queries.call_form import CallForm
from dashboard.layout.words import sentence, short_day
from dashboard.rates.queries import annotations as annotating
from dashboard.rates.queries.annotations import AnnotationForm
from dashboard.security.roles import Page, Right
from dashboard.session import families, forms
from dashboard.session.desk import Desk
from dashboard.session.forms import FormError

TODAY = "Record calls on today's list."
CALLS, ARRANGEMENTS = "calls", "arrangements"
TAKEN_BACK = {
    CALLS: "The call to family {} is taken back.",
    ARRANGEMENTS: "What was arranged for family {} is taken back.",
}


class Acting(Desk):
    """What one person records; nothing that the page sends is trusted."""

    def record_call(self, form: CallForm) -> str:
        """Record a call; returns a sentence on what became of the family.

        A form that comes twice, by a double click or a repeated request, records one call.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        self._may_record()
        found = self.snapshot()
        self._only_today(TODAY)
        family_id = self._known(form.family_id)
        now = self.now()
        key = forms.form_key(form.form)
        reached = call_form.was_reached(form.reached)
        agreed = call_form.agreed_text(form.agreed)
        recheck_on = call_form.recheck_day(form.recheck_on, found.as_of)
        try:
            self._store.record_call(
                family_id=family_id,
                made_by=self._reader.code,
                reached=reached,
                agreed=agreed,
                recheck_on=recheck_on,
                made_at=now,
                made_on=now.date(),
                form=key,
            )
        except RecordedBeforeError:
            return self._after_call(family_id)
        except StoreError as fault:
            raise FormError(f"The call is not recorded. {fault}") from None
        self._note(Access.RECORDED_CALL, family_id)
        return self._after_call(family_id)

    def arrange(self, form: ArrangeForm) -> str:
        """Assign a family or set it aside; returns a sentence on what became of it.

        Raises
        ------
        FormError
            Something typed in does not fit, a red flag is not answered, or the store cannot be
            written.
        """
        self._may_record()
        found = self.snapshot()
        self._only_today(TODAY)
        family_id = self._known(form.family_id)
        row = call_state.row_of(found, family_id)
        kind = arranging.kind_of(form.kind)
        assigned_to, until_on, reason = None, None, None
        if kind is Arrangement.ASSIGNED:
            people = arranging.callers(found, self._reader.code)
            assigned_to = arranging.caller(form.assigned_to, people)
        else:
            arranging.may_rest(row)
            until_on = arranging.until_day(form.until_on, found.as_of)
            reason = arranging.reason_text(form.reason)
        now, key = self.now(), forms.form_key(form.form)
        try:
            self._store.arrange(
                kind,
                family_id,
                made_by=self._reader.code,
                made_at=now,
                made_on=now.date(),
                assigned_to=assigned_to,
                until_on=until_on,
                why=reason,
                form=key,
            )
            self._note(arranging.ACCESS[kind], family_id)
        except RecordedBeforeError:
            pass  # by the same form, a moment ago
        except StoreError as fault:
            raise FormError(f"Nothing is recorded. {fault}") from None
        if until_on is None:
            return f"Family {family_id} is assigned to {assigned_to}."
        day = short_day(until_on, found.as_of)
        return f"Family {family_id} is set aside and listed again from {day}."

    def take_back(self, row: object, of: str = CALLS) -> str:
        """Take a recorded call or an arrangement back; returns the family it speaks of.

        Raises
        ------
        FormError
            It is not known (any more), or the store cannot be written.
        """
        self._may_record()
        self._only_today(TODAY)
        records = self.snapshot().records
        acts = records.arrangements if of == ARRANGEMENTS else records.calls
        mine = acts[(acts["row"] == row).to_numpy(dtype=bool)] if isinstance(row, int) else None
        if mine is None or not len(mine):
            what = "What was arranged" if of == ARRANGEMENTS else "This call"
            raise FormError(f"{what} is not in the list any more. Reload the page.")
        number, family_id = int(mine["row"].iloc[0]), str(mine["family_id"].iloc[0])
        is_call = of != ARRANGEMENTS
        undo = self._store.undo_call if is_call else self._store.undo_arrangement
        try:
            undo(row=number, made_by=self._reader.code, made_at=self.now())
        except StoreError as fault:
            raise FormError(f"Nothing is taken back. {fault}") from None
        self._note(Access.TOOK_BACK_CALL if is_call else Access.TOOK_BACK_ARRANGEMENT, family_id)
        return family_id

    def _known(self, family_id: object) -> str:
        known = families.known_family(self.snapshot(), family_id)
        if known is None:
            raise FormError("There is no family with this code. Choose one from the list.")
        return known

    def _may_record(self) -> None:
        self._reader.must_open(Page.CALLS)
        self._reader.must(Right.RECORD_CALLS)

    def _after_call(self, family_id: str) -> str:
        found = self.snapshot()
        row = call_state.row_of(found, family_id)
        if row.band == "waiting" and row.recheck_on is not None:
            listed = short_day(row.recheck_on, found.as_of)
            return f"Recorded. Family {family_id} waits and is listed again from {listed}."
        if row.sentences:
            return f"Recorded. Family {family_id} stays on the list: {sentence(row.sentences[0])}"
        return f"Recorded. Family {family_id} has no other reason to be called."

    # Beside the rates

    def annotate(self, form: AnnotationForm) -> str:
        """Write an annotation of the rates; returns a sentence. The same one twice is one.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        self._may_annotate()
        found = self.snapshot()
        text = annotating.checked_text(form.text)
        day = annotating.checked_day(form.on_day, found.as_of)
        site = annotating.checked_site(
            form.site, annotating.sites_to_write_for(found, self._reader)
        )
        try:
            row = self._store.annotate(day, text, site, self._reader.code, self.now())
        except StoreError as fault:
            raise FormError(f"The annotation is not written. {fault}") from None
        if row is None:
            return "This is written already."
        self._note(Access.ANNOTATED_RATES, about=f"annotation {row}")
        return "Written: it stands on the chart and in the table."

    def withdraw_annotation(self, row: object) -> str:
        """Withdraw an annotation of the rates; returns a sentence.

        Raises
        ------
        FormError
            It is not known (any more), speaks of sites this person may not write of, or the store
            cannot be written.
        """
        self._may_annotate()
        found = self.snapshot()
        there = {a.row: a for a in annotating.standing(self._store, found, self._reader)}
        mine = there.get(row) if isinstance(row, int) else None
        if mine is None:
            raise FormError("This annotation does not stand any more. Reload the page.")
        if (mine.site or "") not in annotating.sites_to_write_for(found, self._reader):
            raise FormError("It speaks of all sites: only who sees all of them can withdraw it.")
        try:
            self._store.withdraw_annotation(mine.row, self._reader.code, self.now())
        except StoreError as fault:
            raise FormError(f"The annotation is not withdrawn. {fault}") from None
        self._note(Access.WITHDREW_ANNOTATION, about=f"annotation {mine.row}")
        return "Withdrawn: looks at earlier days still show it."

    def _may_annotate(self) -> None:
        self._reader.must_open(Page.RATES)
        self._reader.must(Right.ANNOTATE)
        self._only_today("Write on the rates of today.")
