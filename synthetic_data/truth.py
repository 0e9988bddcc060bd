"""What was put into the data on purpose, so that a reader or a test can look for it?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from analysis.vocabulary import CallOutcome


@dataclass(frozen=True)
class Planted:
    """One thing that happened in one family."""

    family_id: str
    line_id: str
    on: date
    """Its day: of the finding, the report, the last change or the last entry heard."""
    detail: str = ""
    """Finding code, condition, step code or caregiver, where there is one."""
    days: int = 0
    """Days overdue or silent on the as-of day, kits left, where that is the point."""


@dataclass(frozen=True)
class PastCall:
    """A call that staff made and recorded; it is no row of a file."""

    family_id: str
    called_at: datetime
    """UTC."""
    called_by: str
    outcome: CallOutcome
    agreed: str
    recheck_on: date


@dataclass(frozen=True)
class Truth:
    """Everything planted in a demo; a small demo may be without some of it (empty tuples)."""

    as_of: date
    lift_early: tuple[str, ...]
    """Families whose dressings become loose or damp early, about every second one."""
    late_habit: tuple[str, ...]
    """Families that change about every second dressing late."""
    refresher_helped: tuple[Planted, ...]
    """As `lift_early` until a refresher (`on`, caregiver in `detail`), since then as anybody."""
    weak_step: tuple[Planted, ...]
    """Caregivers (`detail`: ``caregiver:step``) who leave out one step in nearly half."""
    never_signed_off: tuple[Planted, ...]
    """Caregivers (`detail`) without any sign-off whose latest dressing change is `on`."""
    skin_site: str
    """Site whose skin rate is three times as high from `skin_from` on."""
    skin_from: date
    shortage_site: str
    """Site where deliveries of ``[shortage_from, shortage_to)`` brought two kits only."""
    shortage_from: date
    shortage_to: date
    red_flag: tuple[Planted, ...]
    compromised: tuple[Planted, ...]
    overdue: tuple[Planted, ...]
    """Overdue (`days`) though the family still writes; `on` is the last change."""
    called: tuple[Planted, ...]
    """Overdue likewise, but the family was called yesterday (see :class:`PastCall`)."""
    silent: tuple[Planted, ...]
    """Last heard `on`, silent for `days`."""
    skin_open: tuple[Planted, ...]
    state_unknown: tuple[Planted, ...]
    """Back home `on` from a stay, no change known since."""
    kits_short: tuple[Planted, ...]
    odd: tuple[Planted, ...]
    """Entries that can be used but raise a doubt (its code in `detail`)."""

    @property
    def families(self) -> frozenset[str]:
        """Families in which anything is planted."""
        habits = (self.refresher_helped, self.weak_step, self.never_signed_off)
        named = {one.family_id for group in habits for one in group}
        return self.families_with_news | named | {*self.lift_early, *self.late_habit}

    @property
    def families_with_news(self) -> frozenset[str]:
        """Families whose last days were arranged."""
        groups = (
            self.red_flag,
            self.compromised,
            self.overdue,
            self.called,
            self.silent,
            self.skin_open,
            self.state_unknown,
            self.kits_short,
        )
        return frozenset(one.family_id for group in groups for one in group)
