"""Which user is a person who comes in by the hospital's sign-in? Their row follows the provider."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from analysis.store import users
from analysis.store.faults import StoreError
from analysis.store.schema import users as table
from analysis.vocabulary import Role

NO_PASSWORD = ""
"""In the place of a hash: no password fits it."""


@dataclass(frozen=True)
class ProviderUser:
    """A person as the provider states."""

    subject: str
    code: str
    role: Role
    sites: Sequence[str] | None
    families: bool


def check(connection: sa.Connection, person: ProviderUser) -> bool:
    """Whether the person's row is as the provider states.

    Raises
    ------
    StoreError
        The code is a local account's or another person's, or the account was ended here.
    """
    found = users.find(connection, person.code)
    if found is None:
        return False
    if _subject(connection, person.code) != person.subject:
        raise StoreError(
            f"{person.code} is the code of another account here. Ask your linedays administrator."
        )
    if not found.active:
        raise StoreError(f"The account {person.code} was ended here.")
    sites = None if person.sites is None else tuple(sorted(set(person.sites)))
    return (found.role, found.sites, found.families) == (person.role, sites, person.families)


def put(connection: sa.Connection, person: ProviderUser, at: datetime) -> None:
    """Add the person, or change role and sites to what the provider states.

    Raises
    ------
    StoreError
        As in `check`; or the code looks like another one, or is none.
    """
    check(connection, person)
    users.checked_code(person.code)
    caseload = users.checked_caseload(None, person.code, person.role)
    if users.find(connection, person.code) is not None:
        connection.execute(sa.delete(table).where(table.c.code == person.code))
    users.add(
        connection,
        person.code,
        NO_PASSWORD,
        person.role,
        person.sites,
        person.families,
        caseload,
        at,
    )
    users.change(connection, person.code, subject=person.subject)


def _subject(connection: sa.Connection, code: str) -> str | None:
    return connection.execute(sa.select(table.c.subject).where(table.c.code == code)).scalar()
