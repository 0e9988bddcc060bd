"""What is asked for on the page of the week, and what does it show?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dashboard.addresses.week import WeekChoice
from dashboard.session.views import PageContext

Options = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class WeekHead:
    """Which week or month is shown, for which role, and which others may be chosen."""

    context: PageContext
    choice: WeekChoice
    """As understood, with defaults filled in."""
    kind: str
    """``week`` or ``month``."""
    text: str
    first: date
    """First day of the week."""
    weeks: Options
    """Weeks that are over, newest first."""
    roles: Options
    """Roles with a summary that this person may read."""
    known: Options
    before: str | None
    after: str | None
    """The weeks next to it, if any."""
    empty: str | None
    """Why nothing was known of a past week by its end."""
    mistaken: str | None
    """Which part of the choice could not be followed, in words."""


@dataclass(frozen=True)
class WeekFile:
    """A report as a file."""

    name: str
    content: bytes
    kind: str
    """Its media type."""
