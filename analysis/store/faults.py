"""Which sentence does a user read when the store can't be used?

Drivers speak in codes and dumps; here their complaints become one sentence that says what,
where and how to mend it. No sentence holds a password, a parameter or a cell of a row.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from adbc_driver_manager import Error as AdbcError

from analysis.errors import UserError


class StoreError(UserError):
    """The store can't do what was asked: one sentence for a user."""


class RecordedBeforeError(StoreError):
    """The call of this form is recorded already; nothing was added."""


BUSY = (
    "The store {place} is busy: another program has been writing to it for too long. Wait until "
    "that ingest has ended, then try again."
)
NOT_A_STORE = (
    "{place} is not a linedays store: it is another kind of file or it is encrypted. Name the "
    "right file with --store, or restore a backup."
)
DAMAGED = (
    "The store {place} is damaged. Keep a copy of the file as it is and restore the newest backup."
)
READ_ONLY = (
    "The store {place} can't be written: the file or its folder is read-only. Give this account "
    "the right to write there."
)
FULL = (
    "The disk that holds the store {place} is full. Nothing of this file was stored: free some "
    "space and try again."
)
FAILING_DISK = (
    "The disk that holds the store {place} fails to read or write. Check the disk, then restore "
    "the newest backup if the store doesn't open."
)
CANNOT_OPEN = (
    "The store {place} can't be opened. Check that the file and its folder exist and that this "
    "account may read and write them."
)
REFUSES_USER = (
    "The database server of {place} refuses this user or password. Check both in --store."
)
NO_SUCH_DATABASE = (
    "The server has no such database as {place}. Create it there, or check its name in --store."
)
NOT_ALLOWED = "This user may not write to {place}. Let the administrator of the database grant it."
UNREACHABLE = (
    "The database server of {place} can't be reached. Check that it is running and that host and "
    "port in --store are right."
)
NUL = (
    "A cell holds a NUL character, which the database of {place} can't keep. Nothing of this file "
    "was stored: take the character out of the file and ingest it again."
)
NOTHING_THERE = (
    "There is no store at {place}. Ingest files into it first, or name another one with --store."
)
NEWER = (
    "The store {place} was written by a newer version of linedays. Install that version, or "
    "restore an older backup."
)
ANOTHER_PROGRAM = (
    "{place} holds the tables of another program. Name another file or database with --store."
)
OTHERWISE = (
    "The store {place} can't be used ({kind}). Restore the newest backup, or open it with the "
    "version of linedays that wrote it."
)

COMPLAINTS: tuple[tuple[str, str], ...] = (
    ("database is locked", BUSY),
    ("lock timeout", BUSY),
    ("not a database", NOT_A_STORE),
    ("malformed", DAMAGED),
    ("readonly", READ_ONLY),
    ("disk is full", FULL),
    ("no space left", FULL),
    ("disk i/o error", FAILING_DISK),
    ("unable to open", CANNOT_OPEN),
    ("failed to open", CANNOT_OPEN),
    ("0x00", NUL),
    ("permission denied", NOT_ALLOWED),
    ("read-only", NOT_ALLOWED),
    ("password", REFUSES_USER),
    ('role "', REFUSES_USER),
    ('database "', NO_SUCH_DATABASE),
    ("host", UNREACHABLE),
    ("connection", UNREACHABLE),
)
"""What a driver's complaint holds, and the sentence in its stead; first that applies."""


def sentence(error: BaseException, place: str) -> str:
    """Return the sentence for a driver's error; `place` names the store without a password."""
    cause = getattr(error, "orig", None) or error
    said = str(cause).lower()
    for holds, words in COMPLAINTS:
        if holds in said:
            return words.format(place=place)
    return OTHERWISE.format(place=place, kind=type(cause).__name__)


@contextmanager
def in_plain_words(place: str) -> Iterator[None]:
    """Turn what a driver raises inside into a `StoreError`.

    The driver's own text is cut off: it may hold cells of rows or the address with its
    password.
    """
    try:
        yield
    except _driver_errors() as error:
        raise StoreError(sentence(error, place)) from None


def _driver_errors() -> tuple[type[Exception], ...]:
    psycopg = sys.modules.get("psycopg")  # an extra: only there when PostgreSQL is in use
    more = () if psycopg is None else (psycopg.Error,)
    return (sa.exc.DBAPIError, AdbcError, *more)
