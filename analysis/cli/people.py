"""Commands on who may sign in to the dashboard, and the access log."""

from __future__ import annotations

import getpass
import sys
from datetime import UTC, date, datetime, time, timedelta

import pandas as pd
import typer

from analysis.cli.opening import opened
from analysis.cli.options.people import (
    UserAdd,
    UserEnd,
    UserList,
    UserPassword,
    UserRecord,
    UserSignIns,
    UserSignOut,
    UserTwoStepOff,
    UserUnlock,
)
from analysis.cli.output import show
from analysis.store import ActsOf, Store, User
from analysis.vocabulary import Access, Role

COMMAND_LINE = "command line"
"""Code of these commands in the access log; no user can have it."""


def _now() -> datetime:
    return datetime.now(UTC)


def note_export(store: Store, what: str) -> None:
    """Record in the access log that a command exported rows, and under which account it ran."""
    about = f"{what}; account {getpass.getuser()}"
    store.people.note(COMMAND_LINE, Access.EXPORTED_TABLE, _now(), about=about)


def record_output(store_url: str, what: str) -> None:
    """Record what a command is going to write from a store; see `note_export`."""
    with opened(store_url) as store:
        note_export(store, what)


def _start_of(day: date | None) -> datetime | None:
    return None if day is None else datetime.combine(day, time(), UTC)


def _password(*, from_stdin: bool) -> str:
    """Read the password, never shown: typed twice, or a line of the input."""
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    return str(typer.prompt("Password", hide_input=True, confirmation_prompt="Repeat password"))


def add(asked: UserAdd) -> None:
    """Add a user, also before the first files are ingested."""
    is_new = not Store.is_there(asked.store)
    with opened(asked.store, create=True) as store:
        password = _password(from_stdin=asked.password_stdin)
        store.people.add(
            asked.code,
            password,
            asked.role,
            _now(),
            by=COMMAND_LINE,
            sites=asked.site or None,
            families=asked.families,
            caseload=asked.caseload,
        )
        lines = store.records().lines
    unknown = sorted(set(asked.site or ()) - set(lines["site"]))
    nurse = (asked.caseload or asked.code) if asked.role is Role.NURSE else None
    of_sites = f"the sites {', '.join(asked.site)}" if asked.site else "all sites"
    typer.echo(f"linedays: {asked.code} may sign in as {asked.role} for {of_sites}.", err=True)
    if is_new:
        typer.echo(f"linedays: A new store was made: {asked.store}", err=True)
        return
    if nurse is not None and nurse not in set(lines["nurse"].dropna()):
        typer.echo(
            f"linedays: no line of the nurse {nurse} is stored yet; check how the code is written.",
            err=True,
        )
    if unknown:
        typer.echo(
            f"linedays: no line of {', '.join(unknown)} is stored yet; check how the site is "
            "written.",
            err=True,
        )


def everybody(asked: UserList) -> None:
    """List users."""
    with opened(asked.store) as store:
        found, two_steps = store.people.all(), store.people.users_of_two_steps()
    show(users_table(found, two_steps), asked)


def end(asked: UserEnd) -> None:
    """End a user's access."""
    with opened(asked.store) as store:
        store.people.end(asked.code, _now(), by=COMMAND_LINE)
    typer.echo(f"linedays: {asked.code} may not sign in any more.", err=True)


def new_password(asked: UserPassword) -> None:
    """Set a user's password."""
    with opened(asked.store) as store:
        password = _password(from_stdin=asked.password_stdin)
        store.people.set_password(asked.code, password, _now(), by=COMMAND_LINE)
    typer.echo(f"linedays: {asked.code} signs in with the new password from now on.", err=True)


def unlock(asked: UserUnlock) -> None:
    """Let a user sign in without waiting."""
    with opened(asked.store) as store:
        store.people.unlock(asked.code, _now(), by=COMMAND_LINE)
    typer.echo(f"linedays: {asked.code} can sign in without waiting.", err=True)


def two_step_off(asked: UserTwoStepOff) -> None:
    """End a user's two-step sign-in."""
    with opened(asked.store) as store:
        store.people.reset_two_steps(asked.code, _now(), by=COMMAND_LINE)
    typer.echo(
        f"linedays: {asked.code} signs in with the password alone; open sign-ins ended.", err=True
    )


def sign_ins(asked: UserSignIns) -> None:
    """List open sign-ins."""
    with opened(asked.store) as store:
        found = store.people.open_sign_ins(_now(), asked.code)
    columns = ["code", "began_at", "last_used_at", "address", "server", "number"]
    rows = [
        (s.code, _moment(s.began_at), _moment(s.last_used_at), s.address, s.server, s.number)
        for s in found
    ]
    show(pd.DataFrame(rows, columns=columns, dtype="string"), asked)


def sign_out(asked: UserSignOut) -> None:
    """End open sign-ins of a user."""
    with opened(asked.store) as store:
        store.people.end_sign_ins(asked.code, _now(), by=COMMAND_LINE, number=asked.number)
    which = "open sign-ins" if asked.number is None else f"sign-in {asked.number}"
    typer.echo(f"linedays: the {which} of {asked.code} ended.", err=True)


def _moment(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M:%SZ}"


def record(asked: UserRecord) -> None:
    """Show the access log, newest first."""
    with opened(asked.store) as store:
        found = store.people.accesses(
            acts_of=ActsOf(
                asked.who,
                asked.family,
                _start_of(asked.first),
                _start_of(None if asked.last is None else asked.last + timedelta(days=1)),
            )
        )
    at = found["at"].dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    show(found.assign(at=at.astype("object")).drop(columns="access"), asked)


def users_table(users: list[User], two_steps: set[str]) -> pd.DataFrame:
    """One row a user."""
    columns = [
        *("code", "role", "sites", "families", "caseload", "active", "added_on", "ended_on"),
        "two_steps",
    ]
    rows = [
        (
            u.code,
            str(u.role),
            "all" if u.sites is None else ";".join(u.sites),
            "yes" if u.families else "no",
            u.caseload,
            "yes" if u.active else "no",
            u.added_at.date().isoformat(),
            None if u.ended_at is None else u.ended_at.date().isoformat(),
            "yes" if u.code in two_steps else "no",
        )
        for u in users
    ]
    return pd.DataFrame(rows, columns=columns, dtype="string")
