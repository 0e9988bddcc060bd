"""What does a person record on the call list: calls, who makes the next one, postponements?"""

from __future__ import annotations

from datetime import datetime, timedelta

from analysis.store import (
    CallExistsError,
    NewCall,
    RecordedBeforeError,
    RecordedSinceError,
    StoreError,
)
from analysis.vocabulary import Access, Arrangement, CallOutcome
from dashboard.call_actions.queries import arrangements, call_form
from dashboard.call_actions.queries.arrangements import ArrangeForm
from dashboard.call_actions.queries.call_form import LONGEST_WAIT_DAYS, CallForm
from dashboard.call_state import queries as call_state
from dashboard.layout.row_tokens import row_token
from dashboard.layout.words import sentence, short_day
from dashboard.security.roles import Page, Right
from dashboard.session import families, forms
from dashboard.session.forms import FormError
from dashboard.session.session import Session

TODAY = "Record calls on today's list."
CALLS, ARRANGEMENTS = "calls", "arrangements"
UNDONE = {CALLS: "The call to {} was undone.", ARRANGEMENTS: "The change for {} was undone."}


class CallActions:
    """What one person records on the call list; nothing that the page sends is trusted."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.CALLS)
        session.reader.must(Right.RECORD_CALLS)
        self.session = session

    def record_call(self, form: CallForm) -> str:
        """Record a call; returns a sentence on where the family is listed now.

        A form that comes twice, by a double click or a repeated request, records one call.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        session = self.session
        session.require_today(TODAY)
        found = session.snapshot()
        family_id = self._known(form.family_id)
        now = session.now()
        key = forms.form_key(form.form)
        if form.recorded_as not in (None, session.reader.code):
            raise FormError(
                f"This form was opened by {form.recorded_as}, and you are signed in as "
                f"{session.reader.code}. Reload the page and try again."
            )
        reached = call_form.was_reached(form.reached)
        call = NewCall(
            family_id,
            session.reader.code,
            CallOutcome.REACHED if reached else CallOutcome.NO_ANSWER,
            called_at=call_form.moment_of_call(form.called_at, now.date(), now)
            if form.called_at
            else now,
            called_on=now.date(),
            agreed=call_form.agreed_text(form.agreed),
            recheck_on=call_form.day_back(
                form.recheck_on, found.as_of, found.as_of + timedelta(days=LONGEST_WAIT_DAYS)
            ),
            since=call_form.newest_known(form.newest_call),
        )
        try:
            session.store.record_calls([call], session.reader.code, now, form=key)
        except RecordedBeforeError:
            return self._after_call(family_id)
        except RecordedSinceError as since:
            raise self._asked_again(since) from None
        except CallExistsError as fault:
            raise FormError(str(fault), "called_at") from None
        except StoreError as fault:
            raise FormError(f"The call was not recorded. {fault}") from None
        session.note(Access.RECORDED_CALL, family_id)
        return self._after_call(family_id)

    def arrange(self, form: ArrangeForm) -> str:
        """Assign a family or postpone it; returns a sentence on where it is listed now.

        Raises
        ------
        FormError
            Something typed in does not fit, a red flag is not answered, or the store cannot be
            written.
        """
        session = self.session
        session.require_today(TODAY)
        found = session.snapshot()
        family_id = self._known(form.family_id)
        row = call_state.row_of(found, family_id)
        kind = arrangements.kind_of(form.kind)
        assigned_to, until_on, reason = None, None, None
        if kind is Arrangement.ASSIGNED:
            people = arrangements.callers(found, session.reader.code)
            assigned_to = arrangements.caller(form.assigned_to, people)
        else:
            arrangements.may_rest(row)
            until_on = call_form.day_back(
                form.until_on,
                found.as_of + timedelta(days=1),
                found.as_of + timedelta(days=arrangements.LONGEST_POSTPONEMENT_DAYS),
                "until_on",
            )
            reason = arrangements.reason_text(form.reason)
        now, key = session.now(), forms.form_key(form.form)
        try:
            session.store.arrange(
                kind,
                family_id,
                made_by=session.reader.code,
                made_at=now,
                made_on=now.date(),
                assigned_to=assigned_to,
                until_on=until_on,
                why=reason,
                form=key,
            )
            session.note(arrangements.ACCESS[kind], family_id)
        except RecordedBeforeError:
            pass  # by the same form, a moment ago
        except StoreError as fault:
            raise FormError(f"Nothing was recorded. {fault}") from None
        session.refresh()
        if until_on is None:
            return f"{family_id} is assigned to {assigned_to}."
        day = short_day(until_on, found.as_of)
        return f"{family_id} is postponed and comes back on the list on {day}."

    def undo(self, row: object, of: str = CALLS) -> str:
        """Undo a recorded call or an arrangement; returns the code of its family.

        Raises
        ------
        FormError
            It is not known (any more), or the store cannot be written.
        """
        session = self.session
        session.require_today(TODAY)
        records = session.snapshot().records
        acts = records.arrangements if of == ARRANGEMENTS else records.calls
        mine = acts[(acts["row"] == row).to_numpy(dtype=bool)] if isinstance(row, int) else None
        if mine is None or not len(mine):
            what = "This change" if of == ARRANGEMENTS else "This call"
            raise FormError(f"{what} is no longer on the list. Reload the page.")
        number, family_id = int(mine["row"].iloc[0]), str(mine["family_id"].iloc[0])
        is_call = of != ARRANGEMENTS
        undo = session.store.undo_call if is_call else session.store.undo_arrangement
        try:
            undo(row=number, made_by=session.reader.code, made_at=session.now())
        except StoreError as fault:
            raise FormError(f"Nothing was undone. {fault}") from None
        session.note(Access.TOOK_BACK_CALL if is_call else Access.TOOK_BACK_ARRANGEMENT, family_id)
        session.refresh()
        return family_id

    def _known(self, family_id: object) -> str:
        known = families.known_family(self.session.loaded(), family_id)
        if known is None:
            raise FormError("No family has this code. Choose one from the list.")
        return known

    def _asked_again(self, since: RecordedSinceError) -> FormError:
        """Somebody else called meanwhile; sent again, the form records a second call."""
        at = datetime.fromtimestamp(since.called_at / 1_000_000, self.session.policy.zone)
        outcome = "reached the family" if since.outcome == CallOutcome.REACHED else "no answer"
        return FormError(
            f"{since.called_by} recorded a call to this family at {at:%H:%M}: {outcome}. Yours is "
            "not recorded yet. Record it again if you called as well.",
            "newest_call",
            row_token(since.row, CALLS),
        )

    def _after_call(self, family_id: str) -> str:
        self.session.refresh()
        found = self.session.snapshot()
        row = call_state.row_of(found, family_id)
        if row.band == "waiting" and row.recheck_on is not None:
            listed = short_day(row.recheck_on, found.as_of)
            return f"Call recorded. {family_id} comes back on the list on {listed}."
        if row.attempts:  # the panel shows when it was tried
            return f"Call recorded. {family_id} stays on the list."
        if row.sentences:
            return f"Call recorded. {family_id} stays on the list: {sentence(row.sentences[0])}"
        return f"Call recorded. There is no other reason to call {family_id}."
