"""On which day, with what knowledge and for which person is a page shown?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from dashboard.security.roles import Reader


@dataclass(frozen=True)
class PageContext:
    """The day a page shows, up to when data are included, the policy and the reader."""

    as_of: date
    known_at: datetime
    """In the programme's time zone."""
    knows_whole_day: bool
    """Everything received until the end of the as-of day, no more and no less, is known."""
    is_today: bool
    """False on a page of an earlier day, on which nothing can be recorded."""
    records_calls: bool
    """It is today, and this person may."""
    policy: str
    edition: str
    demo: bool
    reader: Reader
    """Who is signed in."""
    lines_known: int = 1
    """Lines of this person's sites, at home or not."""
    lines_at_home: int = 1
    caveats: tuple[str, ...] = ()
    """What every list of this day has to show: see `Snapshot.caveats`."""
