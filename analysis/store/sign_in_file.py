"""Where are sign-ins and acts recorded while another program writes to the store?

SQLite lets one program write to a file at a time, and a long file holds the store for half a
minute. Pages, signing in and signing out are not held up by that: sign-ins are in a file of
their own next to the store, and so are acts that could not be added to the access record at once
(`analysis.store.accesses`). They are on the disk before the page is answered, and the next act
moves them to the store. On PostgreSQL both are in the database, under a lock of their own.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import sqlalchemy as sa

from analysis.store import accesses
from analysis.store.database import Database, file_at, file_there, sqlite_engines
from analysis.store.faults import in_plain_words
from analysis.store.schema import REVISION, WHOLE, attempts, sign_ins

ENDING = "-sign-ins"
WAIT_SECONDS = 30.0
"""How long one sign-in may be held up by others: each is written in a moment."""
LOCK = 5_122_017
"""PostgreSQL: the lock of those who sign in or view something."""

_metadata = sa.MetaData()
_turn = sa.Table(
    "turn",
    _metadata,
    sa.Column("number", WHOLE, nullable=False),
    sa.Column("device", WHOLE),
    sa.Column("file", WHOLE),
    sqlite_strict=True,
)
"""One row in all: written first by every writer, and to which file of a store this one belongs."""
_NEXT = sa.update(_turn).values(number=_turn.c.number + 1)
_NUMBER = sa.select(_turn.c.number)


@dataclass(frozen=True)
class SignInFile(Database):
    """The file next to an SQLite store; the store is attached to its connections to be read."""

    belongs: tuple[tuple[int, int] | None, ...] = ()

    @property
    def is_current(self) -> bool:
        """Whether file and store are still those that were opened."""
        return self.belongs == _files(_store_of(self))

    def start(self, connection: sa.Connection) -> None:
        """Let one writer in at a time; BEGIN IMMEDIATE would lock the store as well."""
        connection.exec_driver_sql("BEGIN").close()
        connection.execute(_NEXT)

    def link(self, connection: sa.Connection) -> None:
        """Nothing here stays for good."""

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """As of any database; this file first, so that no act is missed while it is moved."""
        with super().reading() as connection:
            connection.execute(_NUMBER).scalar()
            yield connection


def apart(database: Database) -> Database:
    """The database for sign-ins and acts of a store; its file is made where there is none.

    Raises
    ------
    StoreError
        The file can't be read or written.
    """
    if not database.is_sqlite:
        return replace(database, lock=LOCK)
    store = Path(database.engine.url.database or "")
    path = path_of(store)
    file_at(path, create=True)
    _prepare(path, database)
    keeps_readers = database.readers is not database.engine
    engine, readers = sqlite_engines(path, WAIT_SECONDS, keeps_readers, attached=store)
    return SignInFile(database.place, engine, readers, belongs=_files(store))


def path_of(store: Path) -> Path:
    """The file for sign-ins of a store."""
    return store.with_name(store.name + ENDING)


def _store_of(file: Database) -> Path:
    return Path((file.engine.url.database or "").removesuffix(ENDING))


def _files(store: Path) -> tuple[tuple[int, int] | None, ...]:
    return file_there(store), file_there(path_of(store))


def _prepare(path: Path, database: Database) -> None:
    """Make the tables of this version; sign-ins to another file at the store's path end."""
    alone, _ = sqlite_engines(path, WAIT_SECONDS, keeps_readers=False)
    store = file_there(_store_of(replace(database, engine=alone)))
    with in_plain_words(database.place), alone.connect() as connection:
        if _is_prepared(connection, store):
            return
        connection.exec_driver_sql("PRAGMA journal_mode=WAL").close()
        connection.exec_driver_sql("BEGIN IMMEDIATE").close()
        if not _is_prepared(connection, store):
            _make_tables(connection, database, store)
        connection.commit()


def _make_tables(
    connection: sa.Connection, database: Database, store: tuple[int, int] | None
) -> None:
    tables = [sign_ins, attempts, _turn, accesses.pending]
    if _version(connection) not in {0, int(REVISION)}:
        accesses.bring_over(connection, database)
        for table in tables:
            table.drop(connection, checkfirst=True)
    for table in tables:
        table.create(connection, checkfirst=True)
    for table in (sign_ins, attempts, _turn):
        connection.execute(sa.delete(table))
    device, file = store or (None, None)
    connection.execute(sa.insert(_turn).values(number=0, device=device, file=file))
    connection.exec_driver_sql(f"PRAGMA user_version={int(REVISION)}").close()


def _is_prepared(connection: sa.Connection, store: tuple[int, int] | None) -> bool:
    return _version(connection) == int(REVISION) and _belongs(connection) == store


def _version(connection: sa.Connection) -> int:
    return int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())


def _belongs(connection: sa.Connection) -> tuple[int, int] | None:
    found = connection.execute(sa.select(_turn.c.device, _turn.c.file)).first()
    return None if found is None else (found.device, found.file)
