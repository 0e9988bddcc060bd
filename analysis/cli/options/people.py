"""Options of the commands on who may sign in to the dashboard."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from analysis.cli.options.shared import Output, StoreOption
from analysis.vocabulary import Role


@dataclass(frozen=True, kw_only=True)
class OfUser(StoreOption):
    """A user."""

    code: Annotated[str, typer.Argument(metavar="CODE", help="Staff code, such as N12.")]


@dataclass(frozen=True, kw_only=True)
class WithPassword(OfUser):
    """A user, and where the password is from."""

    password_stdin: Annotated[
        bool,
        typer.Option(
            "--password-stdin", help="Read the password from the first line of the input."
        ),
    ] = False


@dataclass(frozen=True, kw_only=True)
class UserAdd(WithPassword):
    """Add a person who may sign in."""

    role: Annotated[Role, typer.Option("--role", help="What this person does here.")]
    site: Annotated[
        list[str] | None,
        typer.Option(
            "--site", metavar="SITE", help="Only families of this site; may be repeated [all]."
        ),
    ] = None
    families: Annotated[
        bool,
        typer.Option(
            "--families",
            help="Grant single families to prevention or reader, contacts to educator.",
        ),
    ] = False


@dataclass(frozen=True, kw_only=True)
class UserList(StoreOption, Output):
    """Everybody who may sign in, or could in the past."""


@dataclass(frozen=True, kw_only=True)
class UserEnd(OfUser):
    """End a person's access at once; what they recorded stays."""


@dataclass(frozen=True, kw_only=True)
class UserPassword(WithPassword):
    """Give a person a new password and end their sign-ins."""


@dataclass(frozen=True, kw_only=True)
class UserRecord(StoreOption, Output):
    """Access log: who opened which family, recorded a call, signed in or was refused."""
