"""What does the access log show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from dashboard.addresses.access_log import AccessLogChoice
from dashboard.session.views import PageContext


@dataclass(frozen=True)
class AccessRow:
    """One entry of the access log, its moment in the programme's time zone."""

    at: datetime
    who: str | None
    what: str
    family_id: str | None
    about: str | None


@dataclass(frozen=True)
class AccessesView:
    """The newest entries of the access log."""

    context: PageContext
    rows: tuple[AccessRow, ...]
    more: bool
    """There are older ones."""
    choice: AccessLogChoice
