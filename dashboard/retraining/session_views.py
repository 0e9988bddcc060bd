"""What do the pages of training sessions show? Frozen answers that the queries fill."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from dashboard.session.views import PageContext


@dataclass(frozen=True)
class Session:
    """A training session as it is now, with the families that this person may see."""

    number: int
    row: int
    """Of its newest change."""
    cancelled: bool
    held_on: date
    starts_at: str | None
    venue: str | None
    language: str | None
    skills: tuple[str, ...]
    held_by: tuple[str, ...]
    made_by: str
    family_ids: tuple[str, ...]
    caregiver_ids: tuple[str, ...]
    others: int
    """Families invited that this person may not see."""
    marked: int
    """Caregivers with a refresher of that day."""
    invited: int
    """Caregivers invited, also those of families invited as a whole."""

    def invites(self, family_id: str, caregiver_id: str | None) -> bool:
        """Whether a caregiver, or a family as a whole, is invited."""
        whole = caregiver_id is None and family_id in self.family_ids
        return whole or caregiver_id in self.caregiver_ids


@dataclass(frozen=True)
class Step:
    """A step to train, and what the caregiver's own log shows of it."""

    code: str
    name: str
    missed: int
    seen: int
    since: date | None
    """First day of what is counted; None: it was before the last refresher."""
    evidence: str
    """The counts and the day in words."""


@dataclass(frozen=True)
class Invited:
    """One caregiver, or a family whose log names nobody, and what the evidence shows."""

    family_id: str
    caregiver_id: str | None
    about: str
    """Relation and sites."""
    evidence: tuple[Step, ...]
    """What was missed."""
    chosen: bool = False
    elsewhere: tuple[date, ...] = ()
    """Days of other sessions that the caregiver is invited to."""
    outcomes: dict[str, str] = field(default_factory=dict)
    """How it went by skill, where a refresher of the day is stored."""

    @property
    def key(self) -> str:
        """What names the row in a form."""
        return f"{self.family_id};{self.caregiver_id or ''}"


@dataclass(frozen=True)
class PlanForm:
    """The form to plan a session, or to change one."""

    context: PageContext
    number: int | None
    since: int | None
    """Row of the session that the form was made from."""
    typed: dict[str, str]
    skills: tuple[str, ...]
    invited: tuple[Invited, ...]
    languages: tuple[str, ...]
    sites: tuple[str, ...]
    site: str | None
    form: str
    """A code of this one form: sent twice, its session is stored once."""
    faults: dict[str, str] = field(default_factory=dict)
    """What is wrong, in a sentence, by field; blank name: the whole form."""


@dataclass(frozen=True)
class SessionPage:
    """One session: its facts, who is invited, who came."""

    context: PageContext
    session: Session
    rows: tuple[Invited, ...]
    may_mark: bool
    """Who came can be recorded: its day has come, and it is not cancelled."""
    may_change: bool
    message: str | None = None
    fault: str | None = None

    @property
    def open_rows(self) -> bool:
        """Somebody invited is not recorded as having come."""
        skills = self.session.skills
        return any(skill not in row.outcomes for row in self.rows for skill in skills)


@dataclass(frozen=True)
class HandoutStep:
    """A step on a hand-out: its name, how it is done, and what the caregiver's own log shows."""

    name: str
    how: str | None
    evidence: str


@dataclass(frozen=True)
class Handout:
    """What one caregiver takes home, in the words of one language."""

    family_id: str
    caregiver_id: str | None
    language: str
    """As web pages name it."""
    direction: str
    heading: str
    about: str
    practise: str
    nothing_missed: str
    notes: str
    cautions: tuple[str, ...]
    steps: tuple[HandoutStep, ...]


@dataclass(frozen=True)
class HandoutsPage:
    """The hand-outs of a session, a sheet for each caregiver."""

    context: PageContext
    session: Session
    sheets: tuple[Handout, ...]
    notes: tuple[str, ...]
    """What the educator has to know of their languages."""
