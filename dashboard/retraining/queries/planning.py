"""What does a person plan, change and record on the pages of training sessions?"""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from analysis.decisions.asked import family_languages
from analysis.decisions.training_sessions import SessionError, checked
from analysis.snapshot import Snapshot
from analysis.store import Change, RecordedBeforeError, StoreError
from analysis.tables.training_sessions import SessionPlan
from analysis.vocabulary import Access, SessionState, SignOffKind, SignOffOutcome, Skill
from dashboard.addresses.retraining import session_of
from dashboard.layout.row_tokens import row_behind
from dashboard.retraining.queries import dated, refreshers, sessions
from dashboard.retraining.queries.page import training_of
from dashboard.retraining.queries.training import Training
from dashboard.retraining.session_views import HandoutsPage, Invited, PlanForm, Session, SessionPage
from dashboard.security.roles import Page, Right
from dashboard.session import forms
from dashboard.session.forms import FormError
from dashboard.session.frames import codes, distinct
from dashboard.session.session import Session as Request

AHEAD_DAYS = 7
MARKED = (
    "Marked: {n}. Those who came are watched from this day on; only new entries list them again."
)
TYPED = ("held_on", "starts_at", "venue", "language", "held_by", "others")
ROWS = "training_sessions"


class SessionQueries:
    """The pages of training sessions; nothing that a form sends is trusted."""

    def __init__(self, request: Request, training: Training | None = None) -> None:
        """`training`: the evidence, where another snapshot's than that of the request counts."""
        request.reader.must_open(Page.RETRAINING)
        self.request = request
        self.found: Snapshot = request.snapshot()
        known = request.store.sessions.known(self.found.known_at)
        self.sessions = dated.visible(self.found, known, request.reader.code)
        self._training = training

    def again(self) -> SessionQueries:
        """The same after something was stored; the evidence is what the session was held for."""
        training = self.training
        self.request.refresh()
        return SessionQueries(self.request, training)

    @property
    def training(self) -> Training:
        """Who misses which step."""
        return self._training or training_of(self.request.loaded())

    def session(self, number: int | None) -> Session | None:
        """A session that this person may see; None: there is none."""
        return next((s for s in self.sessions if s.number == number), None)

    # Planning

    def blank(self, asked: Mapping[str, str]) -> PlanForm:
        """The form for a new session: of a group, of a family, or empty."""
        people = self._asked_for(asked)
        sites = distinct(self.found.timeline.lines["site"])
        site = asked.get("site")
        typed = dict.fromkeys(TYPED, "")
        typed |= {
            "held_on": (self.found.as_of + timedelta(days=AHEAD_DAYS)).isoformat(),
            "starts_at": "10:00",
            "language": asked.get("language", "") if self._may_language() else "",
            "held_by": self.request.reader.code,
        }
        known = site if site in sites else None
        return self._form(None, typed, (str(Skill.DRESSING_CHANGE),), people, known)

    def filled(self, session: Session) -> PlanForm:
        """The form to change a session."""
        typed = {
            "held_on": session.held_on.isoformat(),
            "starts_at": session.starts_at or "",
            "venue": session.venue or "",
            "language": session.language or "",
            "held_by": ", ".join(session.held_by),
            "others": "",
        }
        people = frozenset(dated.people_of(self.found, session))
        return self._form(session, typed, session.skills, people, None)

    def _asked_for(self, asked: Mapping[str, str]) -> frozenset[dated.Person]:
        if "family" in asked:
            caregiver = asked.get("caregiver") or None
            return frozenset({(asked["family"], caregiver)})
        name = session_of(asked)
        sheet = None
        if name is not None:
            sheet = sessions.sheet_view(self.training, name, self.request.reader)
        rows = () if sheet is None else sheet.rows
        return frozenset((row.need.family_id, row.need.caregiver_id) for row in rows)

    def _form(
        self,
        session: Session | None,
        typed: dict[str, str],
        skills: tuple[str, ...],
        chosen: frozenset[dated.Person],
        site: str | None,
    ) -> PlanForm:
        known = set(self.found.timeline.families["family_id"])
        mine = sorted((p for p in chosen if p[0] in known), key=str)
        listed = dated.candidates(self.training, site)
        people = dict.fromkeys([*mine, *listed])
        return PlanForm(
            context=self.request.context(),
            number=None if session is None else session.number,
            since=None if session is None else session.row,
            typed=typed,
            skills=skills,
            invited=dated.invited_rows(
                self.found,
                self.training,
                people,
                self.sessions,
                chosen=frozenset(mine),
                this=session,
            ),
            languages=self._languages(),
            sites=distinct(self.found.timeline.lines["site"]),
            site=site,
            form=secrets.token_urlsafe(12),
        )

    def _may_language(self) -> bool:
        return self.request.reader.may(Right.LANGUAGE)

    def _languages(self) -> tuple[str, ...]:
        if not self._may_language():
            return ()
        return distinct(family_languages(self.found.records))

    def plan(
        self, sent: Mapping[str, str], several: Mapping[str, Sequence[str]], number: int | None
    ) -> int | PlanForm:
        """Store a session as sent; returns its number, or the form with what is wrong."""
        before = None if number is None else self.session(number)
        self._may_act(before)
        skills, keys = tuple(several["skills"]), set(several["invited"])
        empty = self.blank(sent) if before is None else self.filled(before)
        people = frozenset(_person(key) for key in keys)
        typed = {name: sent.get(name, "").strip() for name in TYPED}
        form = self._form(before, typed, skills, people, empty.site)
        form = replace(form, since=row_behind(sent.get("since"), ROWS), form=sent.get("form", ""))
        try:
            plan = self._plan_of(typed, skills, form.invited, before)
            change = Change(plan, number, form.since)
            store, who = self.request.store, self.request.reader.code
            key = forms.form_key(sent.get("form"))
            number = store.sessions.record([change], who, self.request.now(), form=key)[0]
        except RecordedBeforeError:
            return number or self._newest_of_mine()
        except SessionError as fault:
            name = "others" if fault.field == "caregiver_ids" else fault.field
            return replace(form, faults={name: str(fault)})
        except FormError as fault:
            return replace(form, faults={fault.field or "": str(fault)})
        except StoreError as fault:
            return replace(form, faults={"": str(fault)})
        self.request.note(Access.PLANNED_SESSION, about=_about(plan.held_on))
        return number

    def _newest_of_mine(self) -> int:
        mine = [s.number for s in self.sessions if s.made_by == self.request.reader.code]
        return max(mine, default=0)

    def _plan_of(
        self,
        typed: Mapping[str, str],
        skills: tuple[str, ...],
        rows: tuple[Invited, ...],
        before: Session | None,
    ) -> SessionPlan:
        try:
            held_on = date.fromisoformat(typed["held_on"])
        except ValueError:
            raise FormError("Enter the day of the session.", "held_on") from None
        if before is not None and before.marked and held_on != before.held_on:
            raise FormError("Who came is recorded already. Undo that first.", "held_on")
        chosen = [row for row in rows if row.chosen]
        others = tuple(c for c in re.split(r"[\s,;]+", typed["others"]) if c)
        families, caregivers = self._hidden_of(before)
        plan = SessionPlan(
            held_on=held_on,
            starts_at=typed["starts_at"] or None,
            venue=typed["venue"] or None,
            language=typed["language"] or None,
            skills=skills,
            held_by=tuple(c for c in re.split(r"\s*[,;]\s*", typed["held_by"]) if c),
            family_ids=(*families, *(row.family_id for row in chosen)),
            caregiver_ids=(
                *caregivers,
                *(row.caregiver_id for row in chosen if row.caregiver_id is not None),
                *others,
            ),
        )
        mine = set(self.found.records.caregivers["caregiver_id"])
        unknown = sorted(set(others) - mine)
        if unknown:
            raise FormError(f"Not known: {', '.join(unknown)}. Correct or remove it.", "others")
        return checked(plan, self.request.snapshot_of_all_sites().records, self.found.as_of)

    def _hidden_of(self, session: Session | None) -> tuple[list[str], list[str]]:
        """Families and caregivers invited that this person may not see; they stay invited."""
        if session is None or not session.others:
            return [], []
        stored = self.request.store.sessions.known()
        row = stored[(stored["session"] == session.number).to_numpy(dtype=bool)].iloc[0]
        families = [f for f in codes(row["family_ids"]) if f not in session.family_ids]
        known = "" if row.isna()["caregiver_ids"] else str(row["caregiver_ids"])
        return families, [c for c in codes(known) if c not in session.caregiver_ids]

    def _may_act(self, session: Session | None) -> None:
        """Go on only for people who may plan, today, and see everybody who is invited."""
        self.request.reader.must(Right.MARK_REFRESHERS)
        self.request.require_today("Plan sessions on today's page.")
        if session is not None and session.others:
            raise FormError(
                "Families of other sites are invited too: only people who see all of them change "
                "this session."
            )

    def cancel(self, session: Session) -> None:
        """Cancel a session.

        Raises
        ------
        FormError
            Who came is recorded already, or it cannot be stored.
        """
        self._may_act(session)
        if session.marked:
            raise FormError("Who came is recorded already. Undo that first.")
        plan = SessionPlan(
            session.held_on,
            session.starts_at,
            session.venue,
            session.language,
            session.skills,
            session.held_by,
            session.family_ids,
            session.caregiver_ids,
            SessionState.CANCELLED,
        )
        change = Change(plan, session.number, session.row)
        self._store([change])
        self.request.note(Access.PLANNED_SESSION, about=_about(session.held_on, "cancelled"))

    def _store(self, changes: list[Change]) -> None:
        try:
            self.request.store.sessions.record(
                changes, self.request.reader.code, self.request.now()
            )
        except StoreError as fault:
            raise FormError(str(fault)) from None

    def undo(self, session: Session, row: object) -> bool:
        """Undo the newest change of a session; returns whether it is still planned.

        Raises
        ------
        FormError
            It was changed meanwhile, or who came is recorded already.
        """
        self._may_act(session)
        if session.marked:
            raise FormError("Who came is recorded already. Undo that first.")
        who, now = self.request.reader.code, self.request.now()
        try:
            remains = self.request.store.sessions.undo(
                session.number, row_behind(row, ROWS) or 0, who, now
            )
        except StoreError as fault:
            raise FormError(str(fault)) from None
        self.request.note(Access.PLANNED_SESSION, about=_about(session.held_on, "undone"))
        return remains

    # The session and who came

    def page(
        self, session: Session, *, message: str | None = None, fault: str | None = None
    ) -> SessionPage:
        """One session with everybody invited."""
        context = self.request.context()
        may = context.is_today and self.request.reader.may(Right.MARK_REFRESHERS)
        held = session.held_on <= self.found.as_of and not session.cancelled
        people = (dated.everybody_of if held else dated.people_of)(self.found, session)
        return SessionPage(
            context=context,
            session=session,
            rows=dated.invited_rows(self.found, self.training, people, self.sessions, this=session),
            may_mark=may and held,
            may_change=may and not session.others,
            message=message,
            fault=fault,
        )

    def mark(self, session: Session, sent: Mapping[str, str]) -> str:
        """Store a refresher of everybody who came, all of them or none; returns a sentence.

        Raises
        ------
        FormError
            Nothing was chosen, another outcome is stored already, or it cannot be stored.
        """
        self.request.reader.must(Right.MARK_REFRESHERS)
        self.request.require_today("Record who came on today's page.")
        if session.cancelled or session.held_on > self.found.as_of:
            raise FormError("This session has not taken place.")
        rows, families = [], []
        for family, caregiver in dated.everybody_of(self.found, session):
            stored = dated.outcomes(self.found, caregiver, session.held_on)
            for skill in session.skills:
                outcome = sent.get(f"{skill} {caregiver}", "")
                if outcome in ("", stored.get(skill)):
                    continue
                if outcome not in list(SignOffOutcome):
                    raise FormError("Choose how it went from the list.")
                row = {
                    "caregiver_id": str(caregiver),
                    "skill": skill,
                    "signed_on": session.held_on.isoformat(),
                    "outcome": outcome,
                    "kind": str(SignOffKind.REFRESHER),
                }
                refreshers.must_be_new(self.found, row)
                rows.append(row)
                families.append((family, str(caregiver)))
        if not rows:
            raise FormError("Nothing was recorded: choose how it went for at least one caregiver.")
        self._import(rows)
        for family, caregiver in dict.fromkeys(families):
            self.request.note(Access.MARKED_REFRESHER, family, f"caregiver {caregiver}")
        n = len(set(families))
        return MARKED.format(n="1 caregiver" if n == 1 else f"{n} caregivers")

    def unmark(self, session: Session) -> str:
        """Undo the refreshers of a session's day that were marked on a page.

        Raises
        ------
        FormError
            There are none, or it cannot be stored.
        """
        self.request.reader.must(Right.MARK_REFRESHERS)
        self.request.require_today("Undo it on today's page.")
        voids, who = [], []
        for family, caregiver in dated.everybody_of(self.found, session):
            marked = refreshers.marked_here(self.found, self.request.store, family)
            for one in marked:
                if (one.caregiver_id, one.signed_on) != (caregiver, session.held_on):
                    continue
                key = {"caregiver_id": one.caregiver_id, "skill": one.skill}
                voids.append({**key, "signed_on": one.signed_on.isoformat(), "void": "yes"})
                who.append((family, one.caregiver_id))
        if not voids:
            raise FormError("No refresher of this session was marked here.")
        self._import(voids)
        for family, caregiver in dict.fromkeys(who):
            self.request.note(Access.TOOK_BACK_REFRESHER, family, f"caregiver {caregiver}")
        return "Undone: nobody is marked as having come."

    def _import(self, rows: list[dict[str, str]]) -> None:
        request = self.request
        url, who = request.config.store_url, request.reader.code
        refreshers.store_rows(request.store, url, request.policy, rows, request.now(), who)

    def handouts(self, session: Session) -> HandoutsPage:
        """A sheet for each person invited; who prints them is in the access log."""
        about = f"hand-out of the {_about(session.held_on)}"
        for family in session.family_ids:
            self.request.note(Access.OPENED_FAMILY, family, about)
        files, may = self.request.config.texts, self._may_language()
        found = dated.handouts(self.training, session, files, language=may)
        return HandoutsPage(self.request.context(), session, *found)


def _person(key: str) -> dated.Person:
    return key.partition(";")[0], key.partition(";")[2] or None


def _about(held_on: date, done: str | None = None) -> str:
    """A session in the access log: by its day, since its number counts those of all sites."""
    return f"session of {held_on}" if done is None else f"session of {held_on}, {done}"
