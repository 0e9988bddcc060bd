"""Who is signed in, since when, and how long does somebody have to wait after wrong passwords?

Of a token only a hash is stored, so that a copy of the store lets nobody in.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa

from analysis.store.database import Database
from analysis.store.instants import microseconds, moment_of
from analysis.store.numbers import next_number
from analysis.store.schema import attempts, sign_ins, users
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


@dataclass(frozen=True)
class OpenSignIn:
    """A sign-in that still holds."""

    number: str
    """Names it in lists; it lets nobody in."""
    code: str
    """Of the user."""
    began_at: datetime
    last_used_at: datetime
    address: str | None
    """Where it came from."""
    server: str
    """Which server of the store it holds at."""


_TRIES = sa.func.coalesce(attempts.c.tries, 1)
_HOLDER = (
    sa.select(users, sign_ins.c.last_used_at)
    .join_from(sign_ins, users, users.c.code == sign_ins.c.code)
    .where(
        sign_ins.c.token_hash == sa.bindparam("token_hash"),
        sign_ins.c.ended_at.is_(None),
        sign_ins.c.created_at > sa.bindparam("begun_after"),
        sign_ins.c.last_used_at > sa.bindparam("used_after"),
        sign_ins.c.server == sa.bindparam("server"),
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


def note_waiting(connection: sa.Connection, code: str) -> None:
    """Count an attempt that had to wait with the last one for this code."""
    who = _hash_of(code)
    last = sa.select(sa.func.max(attempts.c.attempt)).where(attempts.c.who == who).scalar_subquery()
    connection.execute(
        sa.update(attempts).where(attempts.c.attempt == last).values(tries=_TRIES + 1)
    )


def failures_of_code(connection: sa.Connection, code: str) -> int:
    """Attempts for this code since the last good one, of a day; those that had to wait count."""
    who = attempts.c.who == _hash_of(code)
    good = sa.select(sa.func.max(attempts.c.attempt)).where(who, attempts.c.succeeded == 1)
    return _tries(connection, who, attempts.c.attempt > (connection.execute(good).scalar() or 0))


def failures_from(connection: sa.Connection, address: str) -> int:
    """Failed attempts from an address, of a day; those that had to wait count."""
    return _tries(connection, attempts.c.address == address, attempts.c.succeeded == 0)


def failures_since(connection: sa.Connection, at: datetime) -> int:
    """Failed attempts since a moment; those that had to wait count."""
    return _tries(connection, attempts.c.at > microseconds(at), attempts.c.succeeded == 0)


def is_noted(failures: int) -> bool:
    """Whether the access log gets a row at this number of failures.

    Each of the first five does, then ever fewer: nobody can fill the log, and it shows how many
    there were.

    Examples
    --------
    >>> [n for n in range(1, 20_001) if is_noted(n)]
    [1, 2, 3, 4, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000]
    """
    digits = str(failures)
    return failures <= FREE_FAILURES or (digits[0] in "125" and not digits[1:].strip("0"))


def _tries(connection: sa.Connection, *which: sa.ColumnElement[bool]) -> int:
    query = sa.select(sa.func.sum(_TRIES)).where(*which)
    return int(connection.execute(query).scalar() or 0)


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


def use_step(connection: sa.Connection, attempt: int, code: str, step: int) -> bool:
    """Use up the code of a time step by an attempt; False: an earlier one did so, or a later step."""
    used = sa.select(sa.func.max(attempts.c.step)).where(attempts.c.who == _hash_of(code))
    if (connection.execute(used).scalar() or 0) >= step:
        return False
    connection.execute(sa.update(attempts).where(attempts.c.attempt == attempt).values(step=step))
    return True


def forget_attempt(connection: sa.Connection, attempt: int) -> None:
    """Count an attempt neither as good nor as failed."""
    connection.execute(sa.delete(attempts).where(attempts.c.attempt == attempt))


def mark_good(connection: sa.Connection, attempt: int) -> None:
    """Mark an attempt as succeeded."""
    connection.execute(sa.update(attempts).where(attempts.c.attempt == attempt).values(succeeded=1))


def begin(connection: sa.Connection, code: str, address: str, at: datetime, server: str) -> str:
    """Begin a sign-in; returns its token. Old ones are forgotten."""
    over = sign_ins.c.created_at <= microseconds(at - WHOLE_LIMIT)
    connection.execute(sa.delete(sign_ins).where(over))
    token = secrets.token_urlsafe(32)
    connection.execute(
        sa.insert(sign_ins).values(
            token_hash=_hash_of(token),
            code=code,
            created_at=microseconds(at),
            last_used_at=microseconds(at),
            server=server,
            address=address,
        )
    )
    return token


def holder(database: Database, token: str, at: datetime, server: str) -> tuple[User, bool] | None:
    """The user whose sign-in this is, and whether its use is due to be noted; None: it ended."""
    asked = {
        "token_hash": _hash_of(token),
        "begun_after": microseconds(at - WHOLE_LIMIT),
        "used_after": microseconds(at - IDLE_LIMIT),
        "server": server,
    }
    found = database.ask(_HOLDER, asked)
    if not found:
        return None
    (row,) = found
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


def end_all_of(connection: sa.Connection, code: str, at: datetime, *, but: str = "") -> None:
    """End every sign-in of a user, but the one with a token."""
    of_user = (
        sign_ins.c.code == code,
        sign_ins.c.ended_at.is_(None),
        sign_ins.c.token_hash != _hash_of(but),
    )
    connection.execute(sa.update(sign_ins).where(*of_user).values(ended_at=microseconds(at)))


def open_ones(connection: sa.Connection, code: str | None, at: datetime) -> list[OpenSignIn]:
    """Sign-ins that still hold, the newest first; of a user, None: of everybody."""
    query = (
        sa.select(sign_ins)
        .join_from(sign_ins, users, users.c.code == sign_ins.c.code)
        .where(
            *([] if code is None else [sign_ins.c.code == code]),
            sign_ins.c.ended_at.is_(None),
            sign_ins.c.created_at > microseconds(at - WHOLE_LIMIT),
            sign_ins.c.last_used_at > microseconds(at - IDLE_LIMIT),
            sign_ins.c.server.is_not(None),
            users.c.active == 1,
        )
        .order_by(sign_ins.c.created_at.desc(), sign_ins.c.token_hash)
    )
    return [
        OpenSignIn(
            number=_number(row.token_hash),
            code=row.code,
            began_at=moment_of(row.created_at),
            last_used_at=moment_of(row.last_used_at),
            address=row.address,
            server=row.server,
        )
        for row in connection.execute(query)
    ]


def end_one_of(connection: sa.Connection, code: str, number: str, at: datetime) -> bool:
    """End the sign-in of a user that has this number; returns whether there was one."""
    mine = (sign_ins.c.code == code, sign_ins.c.ended_at.is_(None))
    for (token_hash,) in connection.execute(sa.select(sign_ins.c.token_hash).where(*mine)).all():
        if _number(token_hash) == number:
            which = sign_ins.c.token_hash == token_hash
            connection.execute(sa.update(sign_ins).where(which).values(ended_at=microseconds(at)))
            return True
    return False


def number_of(token: str) -> str:
    """The number that names the sign-in of a token in lists."""
    return _number(_hash_of(token))


def _number(token_hash: bytes) -> str:
    return bytes(token_hash).hex()[:12]


def _hash_of(text: str) -> bytes:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
