"""Which families were on the list of a day and nurse, and are the calls typed in usable?"""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

from analysis.decisions.asked import Asked, families_asked
from analysis.snapshot import Snapshot, of_sites, take
from analysis.store import CallExistsError, NewCall, RecordedBeforeError, StoreError
from analysis.vocabulary import Access, CallOutcome
from dashboard.call_actions.queries import arrangements, call_form
from dashboard.call_actions.queries.call_form import LONGEST_WAIT_DAYS
from dashboard.call_sheet.views import Sheet, SheetRow
from dashboard.call_state.queries import rows_of
from dashboard.layout.words import BANDS, sentence
from dashboard.security.roles import Page, Right
from dashboard.session import forms
from dashboard.session.forms import FormError
from dashboard.session.frames import distinct
from dashboard.session.session import Session

DAYS_BACK = 7
FIELDS = ("reached", "called_at", "agreed", "recheck_on")
NOTHING = "Nothing was recorded. Correct the fields marked below and record again."
NO_CALL = "Nothing was recorded: choose Reached or No answer for at least one family."


class SheetQueries:
    """The form for calls made from the printed list; nothing that it sends is trusted."""

    def __init__(self, session: Session) -> None:
        session.reader.must_open(Page.CALLS)
        session.reader.must(Right.RECORD_CALLS)
        self.session = session

    def sheet(self, asked: Mapping[str, str]) -> Sheet:
        """The empty form of the day and nurse asked for; today and one's own caseload first."""
        session = self.session
        now = session.snapshot()
        days = tuple(now.as_of - timedelta(days=back) for back in range(DAYS_BACK + 1))
        day = next((d for d in days if d.isoformat() == asked.get("day")), now.as_of)
        home = now.timeline.lines[now.timeline.lines["at_home"]]
        nurses = distinct(home["nurse"])
        chosen = asked.get("nurse", session.reader.caseload or "")
        nurse = chosen if chosen in nurses else None
        callers = arrangements.callers(now, session.reader.code)
        found = self._on(day)
        listed = families_asked(found.calls, found.records, Asked(None, None, nurse, None))
        on_list = listed[(listed["band"] != "no_call").to_numpy(dtype=bool)]
        return Sheet(
            context=session.context(),
            day=day,
            days=days,
            nurse=nurse,
            nurses=nurses,
            called_by=nurse if nurse in callers else session.reader.code,
            callers=callers,
            rows=tuple(
                SheetRow(
                    row.family_id,
                    sentence(row.sentences[0]) if row.sentences else BANDS[row.band].title,
                    dict.fromkeys(FIELDS, ""),
                )
                for row in rows_of(found, on_list)
            ),
            form=secrets.token_urlsafe(12),
        )

    def record(self, sent: Mapping[str, str]) -> Sheet:
        """Record all calls of a form, or none; returns the form with what is wrong, or how many."""
        session = self.session
        empty = self.sheet(sent)
        by = sent.get("called_by", "")
        rows, calls = self._read(empty, sent)
        filled = replace(empty, called_by=by or empty.called_by, rows=tuple(rows))
        if any(row.faults for row in rows):
            return replace(filled, fault=NOTHING)
        if by not in empty.callers:
            return replace(filled, fault="Nothing was recorded. Choose who made the calls.")
        if not calls:
            return replace(filled, fault=NO_CALL)
        try:
            key = forms.form_key(sent.get("form"))
            session.store.record_calls(calls, session.reader.code, session.now(), form=key)
        except RecordedBeforeError:
            return replace(empty, recorded=len(calls))
        except CallExistsError as fault:
            wrong = {"called_at": str(fault)}
            of = fault.family_id
            marked = (replace(row, faults=wrong) if row.family_id == of else row for row in rows)
            return replace(filled, rows=tuple(marked), fault=NOTHING)
        except (StoreError, FormError) as fault:
            return replace(filled, fault=f"Nothing was recorded. {fault}")
        for call in calls:
            session.note(Access.RECORDED_CALL, call.family_id)
        session.refresh()
        return replace(self.sheet(sent), recorded=len(calls))

    def _read(self, empty: Sheet, sent: Mapping[str, str]) -> tuple[list[SheetRow], list[NewCall]]:
        """The rows as typed in with what is wrong in them, and the calls of those that fit."""
        rows, calls = [], []
        for row in empty.rows:
            typed = {name: sent.get(f"{name} {row.family_id}", "") for name in FIELDS}
            faults: dict[str, str] = {}
            if any(text.strip() for text in typed.values()):
                try:
                    by = sent.get("called_by", "")
                    calls.append(self._call(row.family_id, by, empty.day, typed))
                except FormError as fault:
                    faults[fault.field or "reached"] = str(fault)
            rows.append(replace(row, typed=typed, faults=faults))
        return rows, calls

    def _call(self, family_id: str, by: str, day: date, typed: Mapping[str, str]) -> NewCall:
        """The call of one row.

        Raises
        ------
        FormError
            A field of it is missing or does not fit.
        """
        reached = call_form.was_reached(typed["reached"])
        at = call_form.moment_of_call(typed["called_at"], day, self.session.now())
        recheck_on = None
        if typed["recheck_on"]:
            last = day + timedelta(days=LONGEST_WAIT_DAYS)
            recheck_on = call_form.day_back(typed["recheck_on"], day, last)
        outcome = CallOutcome.REACHED if reached else CallOutcome.NO_ANSWER
        agreed = call_form.agreed_text(typed["agreed"])
        return NewCall(family_id, by, outcome, at, day, agreed, recheck_on)

    def _on(self, day: date) -> Snapshot:
        """The list of a day with everything received by its end, of this person's sites."""
        session = self.session
        if day == session.snapshot().as_of:
            return session.snapshot()

        def earlier() -> Snapshot:
            found = take(session.store, session.policy, day)
            return found if session.reader.sites is None else of_sites(found, session.reader.sites)

        return session.cached(("call sheet", day), earlier, lasting=True)
