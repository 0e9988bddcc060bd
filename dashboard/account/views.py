"""What does the page of one's own account show? Frozen answers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from dashboard.session.views import PageContext


@dataclass(frozen=True)
class SignInRow:
    """An open sign-in, its moments in the programme's time zone."""

    number: str
    began_at: datetime
    last_used_at: datetime
    address: str
    is_this: bool
    """It is the one that the page was asked for with."""


@dataclass(frozen=True)
class AccountView:
    """Who somebody is here, and where they are signed in."""

    context: PageContext
    role: str
    sites: str
    sign_ins: tuple[SignInRow, ...]
    least_characters: int
    has_password: bool
    """False: the person comes by the hospital's sign-in."""
    two_steps: bool
    """Whether the second factor is asked for."""
    recovery_codes_left: int
    must_have_two_steps: bool
    """The settings demand it of the person's role."""
    done: str | None = None
    """What was just changed."""
    fault: str | None = None
    """Why nothing was changed."""
    secret: str | None = None
    """A new second factor, to be put into an authenticator and confirmed."""
    picture: str | None = None
    """The same as a picture to scan, an address of data."""
    recovery_codes: tuple[str, ...] = ()
    """Shown once, after it was confirmed."""
