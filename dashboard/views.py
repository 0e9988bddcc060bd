"""What does each page show? Frozen answers that `queries` fills and pages lay out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd

from dashboard.security.roles import Reader


@dataclass(frozen=True)
class Standing:
    """On which day, with what knowledge and under which policy a page stands."""

    as_of: date
    known_at: datetime
    """In the programme's time zone."""
    knows_whole_day: bool
    """Everything received until the end of the as-of day, no more and no less, is known."""
    is_today: bool
    """False for a look at a past day, at which nothing can be written."""
    records_calls: bool
    """It is today, and this person may."""
    policy: str
    edition: str
    demo: bool
    reader: Reader
    """Who is signed in."""


@dataclass(frozen=True)
class Choice:
    """What a reader of the call list chose; it stands in the page's address."""

    band: str | None = None
    site: str | None = None
    nurse: str | None = None
    language: str | None = None
    page: int = 1
    per_page: int = 50
    family_id: str | None = None


@dataclass(frozen=True)
class ReasonView:
    """One reason to call, the line it speaks of and the stored rows that prove it."""

    reason: str
    band: str
    line_id: str | None
    sentence: str
    proof: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class CallRow:
    """One family of the call list."""

    rank: int | None
    family_id: str
    band: str
    sentences: tuple[str, ...]
    days_overdue: int
    silent: bool
    silent_days: int
    last_heard_on: date | None
    nurses: tuple[str, ...]
    sites: tuple[str, ...]
    recheck_on: date | None
    expected: str | None = None
    """How many such mornings an event followed, in words; None where the rules give the order."""
    assigned_to: str | None = None
    aside_by: str | None = None
    """Who set it aside; None for a family that is not set aside."""
    aside_reason: str | None = None


@dataclass(frozen=True)
class Arranged:
    """What somebody arranged about a family."""

    row: int
    made_at: datetime
    """In the programme's time zone."""
    made_by: str
    kind: str
    assigned_to: str | None
    until_on: date | None
    reason: str | None


@dataclass(frozen=True)
class News:
    """What was just done, in a sentence."""

    message: str
    can_take_back: bool


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
    """Where the family stands now."""


@dataclass(frozen=True)
class RoomView:
    """How the families to call fit into the day's calls."""

    possible: int
    left: int
    words: str
    ends_before: str | None
    """The first family in calling order that does not fit into the day; None: all fit."""
    end_words: str


@dataclass(frozen=True)
class CallsView:
    """The call list: counts by band, one page of its rows in calling order, calls done today."""

    standing: Standing
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
    """Below the families to call: those that wait or are set aside, listed again soonest."""
    done: tuple[CallDone, ...]
    """Newest first; on the list itself only the newest few."""
    done_count: int
    room: RoomView | None
    """None where families of one language are shown: a nurse's day is not theirs."""


@dataclass(frozen=True)
class CallMade:
    """One recorded call to a family."""

    row: int
    made_on: date
    made_by: str
    reached: bool
    agreed: str | None
    recheck_on: date
    made_at: datetime
    """In the programme's time zone."""


@dataclass(frozen=True)
class Source:
    """A stored row as it came in: where from, when, and its filled cells in file order."""

    table: str
    row: int
    file: str | None
    sheet: str | None
    row_number: int | None
    received_at: datetime | None
    cells: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...] = ()
    blank: tuple[str, ...] = ()
    """Known columns that were left blank."""
    void: bool = False
    """The row withdraws what was said before."""


@dataclass(frozen=True)
class SourceInTime:
    """A stored row with what took its place later left out and what stood before it."""

    row: Source
    earlier: tuple[Source, ...]
    """Versions before it, the newest first."""
    left_out: int
    """Versions that speak of another family."""


@dataclass(frozen=True)
class ReasonWithRows:
    """One reason and the rows that prove it, read from the store."""

    reason: ReasonView
    sources: tuple[Source, ...]
    sources_left_out: int


@dataclass(frozen=True)
class Opened:
    """The family opened beside the list."""

    standing: Standing
    row: CallRow
    reasons: tuple[ReasonWithRows, ...]
    calls: tuple[CallMade, ...]
    arranged: tuple[Arranged, ...]
    callers: tuple[str, ...]
    """Whom the family can be assigned to."""
    contact: str | None
    language: str | None
    recheck_on: date
    form: str
    """A code of this one form: sent twice, it records one call."""
    next_family_id: str | None


@dataclass(frozen=True)
class LineView:
    """One line of a family with its history."""

    line_id: str
    child_id: str
    line_type: str
    therapy: str | None
    site: str
    nurse: str | None
    placed_on: date
    home_from: date
    end_on: date | None
    state: str
    last_change_on: date | None
    allowed_until: date | None
    days_overdue: int


@dataclass(frozen=True)
class CaregiverView:
    """One person who cares for a line at home and the newest dressing-change sign-off."""

    caregiver_id: str
    relation: str | None
    signed_on: date | None
    outcome: str | None


@dataclass(frozen=True)
class FamilyChoice:
    """What a reader of a family's page chose; it stands in the page's address."""

    time: str = "weeks"
    """`weeks` (the last eight), `months` (the last six) or `all`."""
    page: int = 1
    """Page of the table."""
    known_on: date | None = None
    """The page stands in the morning of this earlier day, as known at its end; None: today."""


@dataclass(frozen=True)
class FamilyView:
    """One family: its call state, its lines, what happened, its people, its calls."""

    family_id: str
    as_of: date
    now: date
    """The as-of day of all other pages; later than `as_of` in a look back."""
    edition: str
    choice: FamilyChoice
    sees: frozenset[str]
    """What of it the person who asks may see beside the page, by name of the right."""
    row: CallRow
    reasons: tuple[ReasonView, ...]
    lines: tuple[LineView, ...]
    first: date
    last: date
    """Days shown in the figure."""
    spans: pd.DataFrame
    """One row a span of time, see `history.SPANS`."""
    marks: pd.DataFrame
    """One row an entry or event, see `history.MARKS`."""
    told: pd.DataFrame
    """Both on one page of the table, newest first, see `history.TOLD`."""
    told_in_all: int
    pages: int
    caregivers: tuple[CaregiverView, ...]
    calls: tuple[CallMade, ...]
    contact: str | None
    language: str | None


@dataclass(frozen=True)
class Rule:
    """One setting of the policy in force."""

    meaning: str
    value: str
    source: str


@dataclass(frozen=True)
class Quantity:
    """One number that pages show: what it means, and an example worked by hand."""

    key: str
    title: str
    words: str
    unit: str
    source: str
    example: str
    answer: str


@dataclass(frozen=True)
class PolicyView:
    """The policy edition in force on the as-of day, in words."""

    standing: Standing
    effective_from: date
    intervals: tuple[Rule, ...]
    settings: tuple[Rule, ...]
    findings: tuple[Rule, ...]
    quantities: tuple[Quantity, ...] = ()


@dataclass(frozen=True)
class AccessRow:
    """One act of the access record, its moment in the programme's time zone."""

    at: datetime
    who: str | None
    what: str
    family_id: str | None
    about: str | None


@dataclass(frozen=True)
class AccessesView:
    """The newest acts of the access record."""

    standing: Standing
    rows: tuple[AccessRow, ...]
    more: bool
    """There are older ones."""
