"""What does each page ask, and how is the answer of one day kept for the next question?

The snapshot is kept until the store or the day changes, so that pages answer quickly and a
recorded call shows at once.
"""

from __future__ import annotations

import secrets
import threading
from collections import deque
from datetime import date, datetime, timedelta

from analysis.policy import Policy, load_policy
from analysis.snapshot import Snapshot, end_of_day, take
from analysis.store import Store, StoreError
from dashboard.config import DashboardConfig
from dashboard.queries import call_list, calls_made, dwell, families, rates, sources
from dashboard.queries.answers import Answers
from dashboard.queries.calls_made import CallForm, FormError
from dashboard.queries.keeping import Kept
from dashboard.queries.policies import policy_view
from dashboard.rate_views import DwellChoice, DwellView, RatesChoice, RatesView
from dashboard.views import CallsView, Choice, FamilyView, Opened, PolicyView, Source, Standing
from dashboard.words import sentence, short_day

FORMS_REMEMBERED = 1_000
"""Forms of which it is known that they were recorded already."""


class Queries:
    """Questions of the pages to one store under one policy. Threads may share it."""

    def __init__(self, store: Store, policy: Policy, config: DashboardConfig) -> None:
        self._store = store
        self._policy = policy
        self._config = config
        self._lock = threading.Lock()
        self._kept: tuple[tuple[int, date], Kept] | None = None
        self._recording = threading.Lock()
        self._recorded: deque[object] = deque(maxlen=FORMS_REMEMBERED)
        self._answers = Answers()

    @classmethod
    def open(cls, config: DashboardConfig) -> Queries:
        """Open the store and the policy.

        Raises
        ------
        StoreError, PolicyError
            They cannot be read.
        """
        policy = load_policy(config.policy_file)
        return cls(Store.open(config.store_url, create=False), policy, config)

    def close(self) -> None:
        """Let go of the store."""
        self._store.close()

    # The day

    def now(self) -> datetime:
        """The present moment in the programme's zone; in the demo moved to its as-of day."""
        now = self._config.clock().astimezone(self._policy.zone)
        if self._config.demo and self._config.as_of is not None:
            return datetime.combine(self._config.as_of, now.timetz())
        return now

    def kept(self) -> Kept:
        """Everything as of the day, made anew when the store or the day has changed."""
        as_of = self._config.as_of or self.now().date()
        with self._lock:
            version = self._store.data_version()
            old = self._kept
            if old is None or old[0] != (version, as_of):
                kept = None
                if old is not None and old[0][1] == as_of:
                    kept = old[1].with_calls_of(self._store)
                if kept is None:
                    kept = Kept(take(self._store, self._policy, as_of, self._config.known_at))
                self._kept = ((version, as_of), kept)
                return kept
            return old[1]

    def snapshot(self) -> Snapshot:
        """What is known of every line on the day."""
        return self.kept().snapshot

    def standing(self) -> Standing:
        """What every page says of itself."""
        found = self.snapshot()
        return Standing(
            as_of=found.as_of,
            known_at=found.known_at.astimezone(self._policy.zone),
            knows_whole_day=found.known_at == end_of_day(found.as_of, self._policy),
            records_calls=found.as_of == self.now().date(),
            policy=self._policy.name,
            edition=found.edition.version,
            demo=self._config.demo,
        )

    # Pages

    def calls(self, choice: Choice) -> CallsView:
        """The call list under a choice of band, site, nurse and page."""
        return call_list.calls_view(self.snapshot(), self.standing(), choice)

    def opened(self, family_id: object, choice: Choice) -> Opened | None:
        """The family opened beside the list with its proof; None when there is none such."""
        found = self.snapshot()
        known = families.known_family(found, family_id)
        if known is None:
            return None
        row = call_list.row_of(found, known)
        contact, language = families.how_to_reach(found, known)
        return Opened(
            standing=self.standing(),
            row=row,
            reasons=sources.with_rows(call_list.reasons_of(found, known), self._store, found),
            calls=calls_made.calls_made(found, known),
            contact=contact,
            language=language,
            recheck_on=found.as_of + timedelta(days=found.edition.settings.recheck_days),
            form=secrets.token_urlsafe(12),
            next_family_id=call_list.next_family(found, row, choice),
        )

    def knows(self, family_id: object) -> bool:
        """Whether there is a family with this code."""
        return families.known_family(self.snapshot(), family_id) is not None

    def family(self, family_id: object) -> FamilyView | None:
        """One family with the history of its lines; None when there is none such."""
        found = self.snapshot()
        known = families.known_family(found, family_id)
        if known is None:
            return None
        contact, language = families.how_to_reach(found, known)
        return FamilyView(
            standing=self.standing(),
            family_id=known,
            row=call_list.row_of(found, known),
            reasons=call_list.reasons_of(found, known),
            lines=families.line_views(found, known, self.kept().log[known]),
            caregivers=families.caregivers(found, known),
            calls=calls_made.calls_made(found, known),
            contact=contact,
            language=language,
        )

    def source(self, family_id: object, table: object, row: object) -> Source | None:
        """The source row behind a mark, if it speaks of the family; else None."""
        found = self.snapshot()
        known = families.known_family(found, family_id)
        if known is None or not isinstance(table, str) or not isinstance(row, int):
            return None
        if row not in families.rows_of_family(found, known, self.kept().log[known]).get(
            table, frozenset()
        ):
            return None
        return sources.sources_of([(table, row)], self._store, found).get((table, row))

    def policy(self) -> PolicyView:
        """The edition in force on the as-of day, with the source of every number."""
        return policy_view(self.snapshot().edition, self.standing())

    def rates(self, choice: RatesChoice) -> RatesView:
        """Rates of an event over time, by group and compared."""
        found, standing = self.snapshot(), self.standing()
        asked = rates.understood(found, choice)
        return self._answers.of(found, asked, lambda: rates.rates_view(found, standing, asked))

    def dwell(self, choice: DwellChoice) -> DwellView:
        """Dwell time by a grouping."""
        found, standing = self.snapshot(), self.standing()
        asked = dwell.understood(choice)
        return self._answers.of(found, asked, lambda: dwell.dwell_view(found, standing, asked))

    # Recorded calls

    def record_call(self, form: CallForm) -> str:
        """Record a call; returns a sentence on what became of the family.

        A form that comes twice, by a double click or a repeated request, records one call.

        Raises
        ------
        FormError
            Something typed in does not fit, or the store cannot be written.
        """
        found = self.snapshot()
        self._only_today()
        family_id = families.known_family(found, form.family_id)
        if family_id is None:
            raise FormError("There is no family with this code. Choose one from the list.")
        now = self.now()
        made_by = calls_made.staff_code(form.made_by)
        reached = calls_made.was_reached(form.reached)
        agreed = calls_made.agreed_text(form.agreed)
        recheck_on = calls_made.recheck_day(form.recheck_on, found.as_of)
        with self._recording:
            if form.form in self._recorded:
                return self._after_call(family_id)
            try:
                self._store.record_call(
                    family_id=family_id,
                    made_by=made_by,
                    reached=reached,
                    agreed=agreed,
                    recheck_on=recheck_on,
                    made_at=now,
                    made_on=now.date(),
                )
            except StoreError as fault:
                raise FormError(f"The call is not recorded. {fault}") from None
            self._recorded.append(form.form)
        return self._after_call(family_id)

    def take_back(self, row: object, made_by: object) -> str:
        """Take a recorded call back; returns the family it was made to.

        Raises
        ------
        FormError
            The call is not known (any more), no staff code is given, or the store cannot be
            written.
        """
        self._only_today()
        calls = self.snapshot().records.calls
        mine = calls[(calls["row"] == row).to_numpy(dtype=bool)] if isinstance(row, int) else None
        if mine is None or not len(mine):
            raise FormError("This call is not in the list any more. Reload the page.")
        code = calls_made.staff_code(made_by)
        try:
            self._store.undo_call(row=int(mine["row"].iloc[0]), made_by=code, made_at=self.now())
        except StoreError as fault:
            raise FormError(f"The call is not taken back. {fault}") from None
        return str(mine["family_id"].iloc[0])

    def _only_today(self) -> None:
        if not self.standing().records_calls:
            raise FormError("This is a look at a past day: record calls on today's list.")

    def _after_call(self, family_id: str) -> str:
        found = self.snapshot()
        row = call_list.row_of(found, family_id)
        if row.band == "waiting" and row.recheck_on is not None:
            listed = short_day(row.recheck_on, found.as_of)
            return f"Recorded. Family {family_id} waits and is listed again from {listed}."
        if row.sentences:
            return f"Recorded. Family {family_id} stays on the list: {sentence(row.sentences[0])}"
        return f"Recorded. Family {family_id} has no other reason to be called."
