"""Who is signed in, since when, and how long does somebody have to wait after wrong passwords?

Of a token only a hash is stored, so that a copy of the store lets nobody in.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

import sqlalchemy as sa

from analysis.store.instants import microseconds
from analysis.store.schema import attempts, next_number, sign_ins, users
from analysis.store.users import User, user_of

IDLE_LIMIT = timedelta(minutes=30)
"""A sign-in that was not used for so long has ended."""
WHOLE_LIMIT = timedelta(hours=12)
"""A sign-in ends after so long in any case."""
USE_NOTED_EVERY = timedelta(minutes=1)

FREE_FAILURES = 5
"""Wrong passwords for one code before each further attempt has to wait."""
FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(minutes=15)
FAILURES_COUNT_FOR = timedelta(days=1)


_HOLDER = (
    sa.select(users, sign_ins.c.last_used_at)
    .join_from(sign_ins, users, users.c.code == sign_ins.c.code)
    .where(
        sign_ins.c.token_hash == sa.bindparam("token_hash"),
        sign_ins.c.ended_at.is_(None),
        sign_ins.c.created_at > sa.bindparam("begun_after"),
        sign_ins.c.last_used_at > sa.bindparam("used_after"),
        users.c.active == 1,
    )
)
"""Asked with every request, so put together once."""


def wait_after(failures: int, free: int) -> timedelta:
    """How long after the last of so many failures the next attempt has to wait.

    Examples
    --------
    >>> [wait_after(n, free=5).seconds for n in (4, 5, 6, 7, 50)]
    [0, 30, 60, 120, 900]
    """
    if failures < free:
        return timedelta(0)
    return min(FIRST_WAIT * 2 ** min(failures - free, 20), LONGEST_WAIT)


def still_to_wait(connection: sa.Connection, code: str, at: datetime) -> timedelta:
    """How long an attempt for this code still has to wait.

    Only the code decides: people of a clinic share the address of a proxy or of one machine, and
    a person who guesses there must not shut out the others. Failures dated after `at`, from when the
    clock was ahead, do not count.
    """
    who = _hash_of(code)
    succeeded = sa.select(sa.func.max(attempts.c.attempt)).where(
        attempts.c.who == who, attempts.c.succeeded == 1
    )
    since = connection.execute(succeeded).scalar() or 0
    query = sa.select(sa.func.count(), sa.func.max(attempts.c.at)).where(
        attempts.c.who == who,
        attempts.c.attempt > since,
        attempts.c.at > microseconds(at - FAILURES_COUNT_FOR),
        attempts.c.at <= microseconds(at),
        attempts.c.succeeded == 0,
    )
    failures, last = connection.execute(query).one()
    passed = timedelta(microseconds=microseconds(at) - (last or 0))
    return max(wait_after(failures, FREE_FAILURES) - passed, timedelta(0))


def forget_failures(connection: sa.Connection, code: str) -> None:
    """Let the next attempt for this code go without a wait."""
    connection.execute(sa.delete(attempts).where(attempts.c.who == _hash_of(code)))


def begin_attempt(connection: sa.Connection, code: str, address: str, at: datetime) -> int:
    """Add an attempt, failed until it is marked as succeeded; returns its number.

    So attempts side by side cannot share one free failure. Attempts that do not count any more
    are forgotten.
    """
    old = attempts.c.at <= microseconds(at - FAILURES_COUNT_FOR)
    number = next_number(connection, attempts.c.attempt)
    connection.execute(sa.delete(attempts).where(old))
    connection.execute(
        sa.insert(attempts).values(
            attempt=number, at=microseconds(at), who=_hash_of(code), address=address, succeeded=0
        )
    )
    return number


def begin(connection: sa.Connection, attempt: int, code: str, at: datetime) -> str:
    """Begin a sign-in after a good attempt; returns its token. Old ones are forgotten."""
    connection.execute(sa.update(attempts).where(attempts.c.attempt == attempt).values(succeeded=1))
    over = sign_ins.c.created_at <= microseconds(at - WHOLE_LIMIT)
    connection.execute(sa.delete(sign_ins).where(over))
    token = secrets.token_urlsafe(32)
    connection.execute(
        sa.insert(sign_ins).values(
            token_hash=_hash_of(token),
            code=code,
            created_at=microseconds(at),
            last_used_at=microseconds(at),
        )
    )
    return token


def holder(connection: sa.Connection, token: str, at: datetime) -> tuple[User, bool] | None:
    """The user whose sign-in this is, and whether its use is due to be noted; None: it ended."""
    asked = {
        "token_hash": _hash_of(token),
        "begun_after": microseconds(at - WHOLE_LIMIT),
        "used_after": microseconds(at - IDLE_LIMIT),
    }
    row = connection.execute(_HOLDER, asked).first()
    if row is None:
        return None
    return user_of(row), row.last_used_at <= microseconds(at - USE_NOTED_EVERY)


def note_use(connection: sa.Connection, token: str, at: datetime) -> None:
    """Note that a sign-in was used."""
    connection.execute(
        sa.update(sign_ins)
        .where(sign_ins.c.token_hash == _hash_of(token))
        .values(last_used_at=microseconds(at))
    )


def end(connection: sa.Connection, token: str, at: datetime) -> str | None:
    """End a sign-in; returns whose it was, None if it had ended."""
    mine = sign_ins.c.token_hash == _hash_of(token)
    code = connection.execute(
        sa.select(sign_ins.c.code).where(mine, sign_ins.c.ended_at.is_(None))
    ).scalar()
    connection.execute(sa.update(sign_ins).where(mine).values(ended_at=microseconds(at)))
    return code


def end_all_of(connection: sa.Connection, code: str, at: datetime) -> None:
    """End every sign-in of a user."""
    open_ones = (sign_ins.c.code == code, sign_ins.c.ended_at.is_(None))
    connection.execute(sa.update(sign_ins).where(*open_ones).values(ended_at=microseconds(at)))


def _hash_of(text: str) -> bytes:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
