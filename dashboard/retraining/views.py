"""What does the educator's page show? Frozen answers that `queries` fills and the page lays out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import pandas as pd

from dashboard.addresses.retraining import NeedsChoice, SessionName
from dashboard.evidence.views import Source
from dashboard.session.views import PageContext

SESSION_SIZES = (4, 6, 8, 12)
TOGETHER = ("site", "language")
FAINT = 0.1
"""A step that nobody in the picture misses with so much probability has no column."""


@dataclass(frozen=True)
class NeedRow:
    """One family, caregiver and step that was missed."""

    family_id: str
    caregiver_id: str | None
    step: str
    step_name: str
    seen: int
    missed: int
    share: float
    """Adjusted towards the programme average of the step."""
    prob: float
    """Probability that the true share is above the limit."""
    limit: float
    sureness: str
    """``sure``, ``likely``, ``watch``, ``improved`` or ``open``."""
    sites: tuple[str, ...]
    refreshed_on: date | None
    """The caregiver's last refresher of the skill, up to which the evidence does not count."""
    seen_before: int
    missed_before: int
    """Occasions before that refresher, and how many of them were missed."""
    state: str
    """A `NeedState`, as report, export and call panel show it."""
    missed_in_row: int
    """Latest occasions missed one after the other."""

    @property
    def key(self) -> tuple[str, str | None, str]:
        """What names the row."""
        return self.family_id, self.caregiver_id, self.step


@dataclass(frozen=True)
class NeedsView:
    """The list: counts by sureness, and one page of its rows, the surest first."""

    choice: NeedsChoice
    """As understood, the usual filled in."""
    counts: dict[str, int]
    steps: tuple[tuple[str, str], ...]
    """Codes and names of the steps that were missed."""
    sites: tuple[str, ...]
    first: NeedRow | None
    rows: tuple[NeedRow, ...]
    total: int
    pages: int
    self_checked: int
    """Families with a self-check."""
    families: int
    """Families with a line in place."""


@dataclass(frozen=True)
class ShownSkill:
    """The newest demonstration of one skill by a caregiver."""

    skill: str
    signed_on: date
    outcome: str
    kind: str | None
    is_current: bool


@dataclass(frozen=True)
class MarkedRefresher:
    """A refresher that was marked on the page and can be undone there."""

    row: int
    caregiver_id: str
    skill: str
    signed_on: date
    outcome: str
    marked_by: str

    def says(self, row: Mapping[str, str], who: str) -> bool:
        """Whether it is what a row of the sign-offs holds, marked by this person."""
        own = (self.caregiver_id, self.skill, self.signed_on.isoformat(), self.outcome)
        names = ("caregiver_id", "skill", "signed_on", "outcome")
        return self.marked_by == who and own == tuple(row[name] for name in names)


@dataclass(frozen=True)
class NeedOpened:
    """The row opened next to the list with its log entries."""

    context: PageContext
    row: NeedRow
    sources: tuple[Source, ...]
    """The newest rows of the home log that show it, newest first."""
    sources_left_out: int
    others: tuple[NeedRow, ...]
    """What else was missed in the family."""
    without_sign_off: int
    """Changes by this caregiver without a current sign-off on their day."""
    relation: str | None
    skills: tuple[ShownSkill, ...]
    language: str | None
    caregivers: tuple[str, ...]
    """The family's, to choose from who was trained."""
    marked: tuple[MarkedRefresher, ...]
    may_mark: bool


@dataclass(frozen=True)
class UnsignedRow:
    """One caregiver who lately did what a skill is for without a current sign-off."""

    family_id: str
    caregiver_id: str
    sites: tuple[str, ...]
    times: int
    last_on: date
    why: str
    """Why there is no current sign-off, in words."""
    signed_on: date | None


@dataclass(frozen=True)
class SkillsView:
    """Who is not signed off, for one skill; how many for each."""

    skill: str
    counts: tuple[tuple[str, int | None], ...]
    """Skills, and how many lack it; None: no sign-off of the skill is stored at all."""
    rows: tuple[UnsignedRow, ...]
    more: int
    recent_days: int
    valid_months: int


@dataclass(frozen=True)
class SessionRow:
    """One planned session."""

    name: SessionName
    step_name: str
    families: tuple[str, ...]


@dataclass(frozen=True)
class SessionsView:
    """Who could share a session."""

    rows: tuple[SessionRow, ...]
    more: int
    by_language: bool
    may_by_language: bool
    """The person who asks may see languages."""
    size: int


@dataclass(frozen=True)
class SheetRow:
    """One person asked to a session; a family whose log names nobody has one row."""

    need: NeedRow
    relation: str | None
    also: tuple[str, ...]
    """Other steps that this caregiver probably misses."""


@dataclass(frozen=True)
class SheetView:
    """The sheet of one session, to be taken along."""

    session: SessionRow
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True)
class HelpedView:
    """Whether refreshers helped, and whether caregivers learn by doing."""

    effects: pd.DataFrame
    """Rows of `REFRESHERS` with a refreshed family, of taught steps, with step_name; those with
    limits first."""
    learning: pd.DataFrame
    """Rows of `LEARNING` of one step, with name: the range of changes in words."""
    curve: str | None
    """Its step; None: nothing was done since a sign-off."""
    curve_name: str
    curves: tuple[tuple[str, str], ...]
    """Codes and names of the steps to choose from."""
    window_days: int
    control: str
    """What the negative control shows; empty where no retrained family is seen."""


@dataclass(frozen=True)
class PictureView:
    """Steps by families at one glance: the families whose need is surest."""

    cells: pd.DataFrame
    """One row a family and step: family_id, step_name, prob, missed, seen."""
    families: tuple[str, ...]
    steps: tuple[str, ...]
    """Names of the steps, the most often probable first."""
    families_left_out: int
    steps_left_out: tuple[str, ...]
