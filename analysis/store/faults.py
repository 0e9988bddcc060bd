"""Which sentence does a user read when the store can't be used?

A driver's known complaints (locked, full, read-only, damaged, no such server …) become one sentence
with what, where and how to fix it; no sentence holds a password, a parameter or a cell of
a row. Every other complaint is a fault of the program and is passed on as it was raised.
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


class DamagedBlockError(Exception):
    """Bytes of a compressed block are not what was stored."""


class ReadingError(Exception):
    """A driver's complaint, met while the rows of a query were being read."""


class RecordedBeforeError(StoreError):
    """The call of this form is recorded already; nothing was added."""


class CallExistsError(StoreError):
    """The call of one person to a family at one moment is recorded already; nothing was added."""

    def __init__(self, family_id: str, called_by: str) -> None:
        super().__init__(
            f"A call by {called_by} to {family_id} at this time is recorded already. Undo it first, "
            "or enter another time."
        )
        self.family_id = family_id


class RecordedSinceError(StoreError):
    """Another call to the family was recorded after the form was made; nothing was added."""

    def __init__(self, row: int, called_by: str, called_at: int, outcome: str) -> None:
        super().__init__(f"{called_by} recorded a call to this family after the form was opened.")
        self.row = row
        self.called_by = called_by
        self.called_at = called_at
        """Microseconds UTC."""
        self.outcome = outcome


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
DAMAGED_BLOCK = "a compressed block of rows is damaged"
NEWER = (
    "The store {place} was written by a newer version of linedays. Install that version, or "
    "restore an older backup."
)
UNKNOWN_WORD = (
    "The store holds a word that this version of linedays does not know ({words}). Install the "
    "version that wrote it."
)
ANOTHER_PROGRAM = (
    "{place} holds the tables of another program. Name another file or database with --store."
)
COMPLAINTS: tuple[tuple[str, str], ...] = (
    ("database is locked", BUSY),
    ("database table is locked", BUSY),
    ("is not a database", NOT_A_STORE),
    ("disk image is malformed", DAMAGED),
    ("malformed database schema", DAMAGED),
    (DAMAGED_BLOCK, DAMAGED),
    ("type mismatch in column", DAMAGED),
    ("readonly database", READ_ONLY),
    ("disk is full", FULL),
    ("disk i/o error", FAILING_DISK),
    ("unable to open database", CANNOT_OPEN),
    ("failed to open", CANNOT_OPEN),
    ('invalid byte sequence for encoding "utf8": 0x00', NUL),
    ("cannot contain nul", NUL),
    ("password authentication failed", REFUSES_USER),
    ("no password supplied", REFUSES_USER),
    ("no pg_hba.conf entry", REFUSES_USER),
    ("fatal:  role", REFUSES_USER),
    ("fatal:  database", NO_SUCH_DATABASE),
    ("failed to resolve host", UNREACHABLE),
    ("connection refused", UNREACHABLE),
    ("connection timeout expired", UNREACHABLE),
    ("connection is bad", UNREACHABLE),
    ("connection failed", UNREACHABLE),
    ("server closed the connection", UNREACHABLE),
    ("the connection is lost", UNREACHABLE),
    ("the connection is closed", UNREACHABLE),
)
"""What a driver's complaint holds, and the sentence in its stead; first that applies."""

STATES: tuple[tuple[str, str], ...] = (
    ("55P03", BUSY),
    ("53100", FULL),
    ("58030", FAILING_DISK),
    ("28", REFUSES_USER),
    ("3D000", NO_SUCH_DATABASE),
    ("42501", NOT_ALLOWED),
    ("25006", NOT_ALLOWED),
    ("08", UNREACHABLE),
    ("57P", UNREACHABLE),
    ("22021", NUL),
)
"""First signs of PostgreSQL's error codes, and the sentence.

*Source:* PostgreSQL documentation, Appendix A, Error Codes (from memory).
"""


def sentence(error: BaseException, place: str) -> str | None:
    """Return the sentence for a driver's known complaint, None for any other error.

    Parameters
    ----------
    error : BaseException
        What the driver or SQLAlchemy raised.
    place : str
        Names the store without a password.
    """
    cause = getattr(error, "orig", None) or error
    state = str(getattr(cause, "sqlstate", None) or "")
    text = str(cause).lower()
    known = [words for start, words in STATES if state.startswith(start)] or [
        words for holds, words in COMPLAINTS if holds in text
    ]
    return known[0].format(place=place) if known else None


@contextmanager
def in_plain_words(place: str) -> Iterator[None]:
    """Turn a driver's known complaint into a `StoreError`; any other error is passed on.

    The driver's own text is cut off from a known one: it may hold the address with its password.
    """
    try:
        yield
    except _driver_errors() as error:
        words = sentence(error, place)
        if words is None:
            raise
        raise StoreError(words) from None


def _driver_errors() -> tuple[type[Exception], ...]:
    psycopg = sys.modules.get("psycopg")  # an extra: only there when PostgreSQL is in use
    more = () if psycopg is None else (psycopg.Error,)
    return (sa.exc.DBAPIError, AdbcError, DamagedBlockError, ReadingError, *more)
