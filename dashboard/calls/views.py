"""What does the call list show? Frozen answers that its queries fill and its layout shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from hashlib import blake2b

from dashboard.addresses.calls import Choice
from dashboard.call_actions.views import Acts
from dashboard.call_state.views import CallRow, NeedShown, ReasonView
from dashboard.evidence.views import Source
from dashboard.session.views import PageContext


@dataclass(frozen=True)
class CallDone:
    """A call recorded on the day of the list."""

    row: int
    family_id: str
    made_at: datetime
    """In the programme's time zone."""
    made_by: str
    reached: bool
    agreed: str | None
    recheck_on: date
    band: str
    """Where the family is listed now."""


@dataclass(frozen=True)
class CapacityView:
    """How the families to call fit into the day's calls."""

    possible: int
    left: int
    words: str
    ends_before: str | None
    """The first family in calling order that does not fit into the day; None: all fit."""
    end_words: str


@dataclass(frozen=True)
class AheadDay:
    """One of the days ahead, and the families of which something is due by it."""

    on: date
    n_due: int
    """Dressing changes."""
    due: tuple[str, ...]
    back: tuple[str, ...]
    """Waiting or postponed until this day."""
    kits: tuple[str, ...]
    """Their dressing kits run out."""


@dataclass(frozen=True)
class Reached:
    """How a family is reached; None: not recorded, or not for this person."""

    contact: str | None
    language: str | None


@dataclass(frozen=True)
class CallsView:
    """The call list: counts by band, one page of its rows in calling order, calls done today."""

    context: PageContext
    choice: Choice
    order: str
    """Which order is in use within a band, in whole sentences."""
    counts: dict[str, int]
    families_at_home: int
    families_silent: int
    silent_after_days: int
    sites: tuple[str, ...]
    nurses: tuple[str, ...]
    languages: tuple[str, ...]
    """Empty for a person who may not know them."""
    first: CallRow | None
    rows: tuple[CallRow, ...]
    total: int
    """Rows on all pages."""
    pages: int
    resting: tuple[CallRow, ...]
    """Below the families to call: those that wait or are postponed, earliest day first."""
    done: tuple[CallDone, ...]
    """Newest first; on the list itself only the newest few."""
    done_count: int
    capacity: CapacityView | None
    """None where families of one language are shown: a nurse's day is not theirs."""

    n_ahead: int = 0
    """Dressing changes due in the days ahead."""
    ahead: tuple[AheadDay, ...] = ()
    """Only where they are asked for."""

    @cached_property
    def state(self) -> str:
        """What tells the list from one in which something else is shown."""
        parts = (self.context.as_of, self.counts, self.first, self.rows, self.resting, self.done)
        return blake2b(
            repr((parts, self.capacity, self.n_ahead, self.ahead)).encode(), digest_size=12
        ).hexdigest()


@dataclass(frozen=True)
class ReasonWithRows:
    """One reason and its log entries, read from the store."""

    reason: ReasonView
    sources: tuple[Source, ...]
    sources_left_out: int


@dataclass(frozen=True)
class Opened(Acts):
    """The family open in the panel."""

    reasons: tuple[ReasonWithRows, ...]
    needs: tuple[NeedShown, ...]
    contact: str | None
    language: str | None
    next_family_id: str | None


@dataclass(frozen=True)
class ContactList:
    """The call list with contacts, to be printed."""

    view: CallsView
    reached: dict[str, Reached]
    """By family."""
