"""Who may sign in, in which role, for which sites?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from analysis.store.faults import StoreError
from analysis.store.instants import microseconds, moment_of
from analysis.store.look_alike import first_alike
from analysis.store.schema import users
from analysis.vocabulary import Role

MOST_CHARACTERS = 40
ALLOWED_SIGNS = frozenset("-_.@")


@dataclass(frozen=True)
class User:
    """A person who may sign in, or might once."""

    code: str
    role: Role
    sites: tuple[str, ...] | None
    """Sites whose families this person may see; None: all of them."""
    families: bool
    """Whether single families are granted to a role that does not see them anyway."""
    caseload: str | None
    """Code of a nurse in the line registry, whose families this person calls; for nurses alone."""
    active: bool
    added_at: datetime
    ended_at: datetime | None


def checked_code(code: str) -> str:
    """The code of a user.

    Raises
    ------
    StoreError
        It is empty, too long, or holds other signs than letters, digits and ``-_.@``.
    """
    fits = all(sign.isalnum() or sign in ALLOWED_SIGNS for sign in code)
    if not code or len(code) > MOST_CHARACTERS or not fits:
        raise StoreError(
            f"A user's code has 1 to {MOST_CHARACTERS} letters, digits or signs of - _ . @, "
            "such as N12."
        )
    return code


def checked_caseload(caseload: str | None, code: str, role: Role) -> str | None:
    """Whose families the person of a code calls: a nurse's own, where nothing else is given.

    Raises
    ------
    StoreError
        The role has no caseload.
    """
    if role is Role.NURSE:
        return caseload or code
    if caseload is not None:
        raise StoreError(f"Only a nurse has a caseload; leave it out for the role {role}.")
    return None


def add(
    connection: sa.Connection,
    code: str,
    password_hash: str,
    role: Role,
    sites: Sequence[str] | None,
    families: bool,
    caseload: str | None,
    at: datetime,
) -> None:
    """Add a user; one that was ended before starts again with these settings.

    Raises
    ------
    StoreError
        There is an active user of this code, or a user whose code looks like it.
    """
    alike = first_alike(code, connection.execute(sa.select(users.c.code)).scalars().all())
    if alike is not None:
        raise StoreError(
            f"{code} looks like the code {alike} of another user, so the two would be mistaken for "
            "each other. Choose another code."
        )
    before = find(connection, code)
    if before is not None and before.active:
        raise StoreError(
            f"There is a user {code} already. To change role or sites, end it first: "
            f"linedays user end {code}"
        )
    connection.execute(sa.delete(users).where(users.c.code == code))
    connection.execute(
        sa.insert(users).values(
            code=code,
            password_hash=password_hash,
            role=str(role),
            sites=None if sites is None else json.dumps(sorted(set(sites)), ensure_ascii=False),
            families=int(families),
            caseload=caseload,
            active=1,
            added_at=microseconds(at),
        )
    )


def change(connection: sa.Connection, code: str, **values: Any) -> None:
    """Set columns of an active user.

    Raises
    ------
    StoreError
        There is no active user of this code.
    """
    check_active(connection, code)
    connection.execute(sa.update(users).where(users.c.code == code).values(**values))


def check_active(connection: sa.Connection, code: str) -> None:
    """Raise `StoreError` where there is no active user of this code."""
    found = find(connection, code)
    if found is None or not found.active:
        raise StoreError(f"There is no active user {code}. List them: linedays user list")


def find(connection: sa.Connection, code: str) -> User | None:
    """The user of a code, also an ended one."""
    row = connection.execute(sa.select(users).where(users.c.code == code)).first()
    return None if row is None else user_of(row)


def all_of(connection: sa.Connection) -> list[User]:
    """Every user by code, also the ended ones."""
    return [user_of(row) for row in connection.execute(sa.select(users).order_by(users.c.code))]


def password_hash(connection: sa.Connection, code: str) -> str | None:
    """The stored hash of an active user's password."""
    active = users.c.active == 1
    query = sa.select(users.c.password_hash).where(users.c.code == code, active)
    return connection.execute(query).scalar()


def user_of(row: Any) -> User:
    """A user from a row of the table."""
    return User(
        code=row.code,
        role=Role(row.role),
        sites=None if row.sites is None else tuple(json.loads(row.sites)),
        families=bool(row.families),
        caseload=row.caseload,
        active=bool(row.active),
        added_at=moment_of(row.added_at),
        ended_at=None if row.ended_at is None else moment_of(row.ended_at),
    )
