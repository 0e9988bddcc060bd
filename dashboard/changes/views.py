"""What has changed on a page since a person last looked? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Change:
    """One thing that changed: the code it is about, the address that shows it, and more words."""

    name: str
    address: str | None = None
    words: str = ""
    opens: bool = False
    """The address opens a family of the same page."""


@dataclass(frozen=True)
class Kind:
    """Changes of one kind, with their number in words."""

    words: str
    changes: tuple[Change, ...]
    urgent: bool = False


@dataclass(frozen=True)
class Changes:
    """What changed on a page since a person last looked."""

    now: datetime
    since: datetime | None = None
    """None: the person has not been on the page before, or it is a page of an earlier day."""
    kinds: tuple[Kind, ...] = ()
