"""Commands on who may sign in to the dashboard, and on who looked at what."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from typing import Annotated

import pandas as pd
import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    ForceOption,
    FormatOption,
    OutOption,
    StoreOption,
    opened,
)
from analysis.cli.output import show
from analysis.store import Store, User
from analysis.vocabulary import Access, Role

user = typer.Typer(
    help="Who may sign in to the dashboard, and who looked at what.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

COMMAND_LINE = "command line"
"""Who stands in the access record for these commands; no user can have this code."""

CodeArgument = Annotated[str, typer.Argument(metavar="CODE", help="Staff code, such as N12.")]
FromStdinOption = Annotated[
    bool,
    typer.Option("--password-stdin", help="Read the password from the first line of the input."),
]


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.add_typer(user, name="user")


def _now() -> datetime:
    return datetime.now(UTC)


def note_taken_out(store: Store, what: str) -> None:
    """Keep in the access record that rows leave the store by a command."""
    store.people.note(COMMAND_LINE, Access.EXPORTED_TABLE, _now(), about=what)


def _password(*, from_stdin: bool) -> str:
    """The password, never shown: typed twice, or a line of the input."""
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt="The same again"))


@user.command("add")
def add(
    code: CodeArgument,
    role: Annotated[Role, typer.Option("--role", help="What this person is there for.")],
    site: Annotated[
        list[str] | None,
        typer.Option(
            "--site", metavar="SITE", help="Only families of this site; may be repeated [all]."
        ),
    ] = None,
    families: Annotated[
        bool,
        typer.Option(
            "--families",
            help="Grant single families to prevention or reader, contacts to educator.",
        ),
    ] = False,
    password_stdin: FromStdinOption = False,
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Add a person who may sign in."""
    with opened(store) as opened_store:
        password = _password(from_stdin=password_stdin)
        opened_store.people.add(
            code,
            password,
            role,
            _now(),
            by=COMMAND_LINE,
            sites=site or None,
            families=families,
        )
        unknown = sorted(set(site or ()) - set(opened_store.records().lines["site"]))
    of_sites = f"the sites {', '.join(site)}" if site else "all sites"
    typer.echo(f"linedays: {code} may sign in as {role} for {of_sites}.", err=True)
    if unknown:
        typer.echo(
            f"linedays: no line of {', '.join(unknown)} is stored yet; check how the site is "
            "written.",
            err=True,
        )


@user.command("list")
def list_(
    store: StoreOption = DEFAULT_STORE,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Everybody who may sign in, or might once."""
    with opened(store) as opened_store:
        found = opened_store.people.all()
    show(users_table(found), form, out, force=force)


@user.command("end")
def end(code: CodeArgument, store: StoreOption = DEFAULT_STORE) -> None:
    """Let a person in no more, at once; what it recorded stays."""
    with opened(store) as opened_store:
        opened_store.people.end(code, _now(), by=COMMAND_LINE)
    typer.echo(f"linedays: {code} may not sign in any more.", err=True)


@user.command("password")
def password_(
    code: CodeArgument,
    password_stdin: FromStdinOption = False,
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Give a person a new password; its sign-ins end."""
    with opened(store) as opened_store:
        password = _password(from_stdin=password_stdin)
        opened_store.people.set_password(code, password, _now(), by=COMMAND_LINE)
    typer.echo(f"linedays: {code} signs in with the new password from now on.", err=True)


@user.command("record")
def record(
    store: StoreOption = DEFAULT_STORE,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Print who opened which family, recorded a call, signed in or was refused; newest first."""
    with opened(store) as opened_store:
        found = opened_store.people.accesses()
    at = found["at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    show(found.assign(at=at.astype("object")).drop(columns="access"), form, out, force=force)


def users_table(users: list[User]) -> pd.DataFrame:
    """One row a user."""
    columns = ["code", "role", "sites", "families", "active", "added_on", "ended_on"]
    rows = [
        (
            u.code,
            str(u.role),
            "all" if u.sites is None else ";".join(u.sites),
            "yes" if u.families else "no",
            "yes" if u.active else "no",
            u.added_at.date().isoformat(),
            None if u.ended_at is None else u.ended_at.date().isoformat(),
        )
        for u in users
    ]
    return pd.DataFrame(rows, columns=columns, dtype="string")
