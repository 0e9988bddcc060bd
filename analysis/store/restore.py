"""How does a backup become a store again, all of it or nothing?

The file is checked whole before anything is made. Tables are made as they were when the
backup was written, filled, and brought to this version, in one transaction: what is killed half
way leaves no table behind. Only a place without tables takes a backup, so none is ever
overwritten.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import sqlalchemy as sa

from analysis.store import blocks, bulk, chain
from analysis.store.backup import CONTENTS, FORMAT, LEFT_OUT, WHAT, TablePart
from analysis.store.database import Database
from analysis.store.faults import StoreError
from analysis.store.migrate import known_revisions, upgrade_on
from analysis.store.schema import ROWS

NO_BACKUP = (
    "{path} is no backup of linedays: it is another kind of file, or its end was cut off. Name a "
    "file that 'linedays backup' wrote, or copy it again from where it is kept."
)
DAMAGED = (
    "The backup {path} is damaged; nothing was restored. Copy it again from where it is kept, or "
    "use another backup."
)
OTHER_COLUMNS = (
    "The backup {path} has columns in its table {table} that this version of linedays does not know: "
    "{columns}. Nothing was restored. Restore it with the version that wrote it."
)
NEWER = (
    "The backup {path} was written by a newer version of linedays; nothing was restored. Install "
    "that version and restore with it."
)
NOT_EMPTY = (
    "{place} holds tables already, and a backup never overwrites. Name in --store a file that "
    "isn't there yet or an empty database."
)

_ENCRYPTED = 1
_BYTES_AT_ONCE = 1 << 20


@dataclass(frozen=True)
class Contents:
    """What a backup holds about itself."""

    schema: str
    tables: tuple[TablePart, ...]


def restore(database: Database, path: Path) -> None:
    """Fill an empty database from a backup.

    Parameters
    ----------
    database : Database
        Without tables; what is made is of this program's schema.
    path : Path
        A backup that :func:`checked` accepted.

    Raises
    ------
    StoreError
        There are tables already, or the backup can't be used; nothing was made then.
    """
    with _opened(path) as archive:
        contents = _contents(archive, path)
        with database.reading() as connection:
            _check_empty(connection, database)
        database.let_people_read_while_it_is_written()
        with database.changing_tables() as connection:
            _check_empty(connection, database)  # nobody else came first
            upgrade_on(connection, contents.schema)
            _check_tables(connection, contents, path)
            for part in contents.tables:
                _fill(connection, archive, part, path)
            upgrade_on(connection)
            for name in ROWS:
                blocks.catch_up(connection, name)
            chain.catch_up(connection)


def checked(path: Path) -> Contents:
    """Read a backup through and compare every file in it with its SHA-256.

    Raises
    ------
    StoreError
        It isn't there, is no backup, is damaged, or is of a newer version.
    """
    with _opened(path) as archive:
        contents = _contents(archive, path)
        for part in contents.tables:
            if _sha256(archive, part.file) != part.sha256:
                raise StoreError(DAMAGED.format(path=path))
    return contents


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open the archive; what its reading complains of becomes a sentence."""
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, NotImplementedError):
        raise StoreError(NO_BACKUP.format(path=path)) from None
    except OSError as fault:
        raise StoreError(f"The backup {path} can't be read: {fault.strerror}.") from None
    with archive:
        try:
            yield archive
        except (zipfile.BadZipFile, EOFError, KeyError, NotImplementedError, pa.ArrowException):
            raise StoreError(DAMAGED.format(path=path)) from None


def _contents(archive: zipfile.ZipFile, path: Path) -> Contents:
    is_locked = any(entry.flag_bits & _ENCRYPTED for entry in archive.infolist())
    if CONTENTS not in archive.namelist() or is_locked:
        raise StoreError(NO_BACKUP.format(path=path))
    try:
        listed: Any = json.loads(archive.read(CONTENTS))
        ours = listed["what"] == WHAT
        is_newer = listed["format"] > FORMAT or listed["schema"] not in known_revisions()
    except (ValueError, TypeError, KeyError):
        raise StoreError(NO_BACKUP.format(path=path)) from None
    if not ours:
        raise StoreError(NO_BACKUP.format(path=path))
    if is_newer:
        raise StoreError(NEWER.format(path=path))
    try:
        return Contents(listed["schema"], tuple(TablePart(**part) for part in listed["tables"]))
    except (TypeError, KeyError):
        raise StoreError(DAMAGED.format(path=path)) from None


def _sha256(archive: zipfile.ZipFile, name: str) -> str:
    digest = hashlib.sha256()
    with archive.open(name) as part:
        while data := part.read(_BYTES_AT_ONCE):
            digest.update(data)
    return digest.hexdigest()


def _check_empty(connection: sa.Connection, database: Database) -> None:
    if sa.inspect(connection).get_table_names():
        raise StoreError(NOT_EMPTY.format(place=database.place))


def _check_tables(connection: sa.Connection, contents: Contents, path: Path) -> None:
    """The backup holds the tables of its schema, all of them and no other."""
    made = set(sa.inspect(connection).get_table_names()) - LEFT_OUT.keys() - {"alembic_version"}
    named = [part.name for part in contents.tables]
    if sorted(named) != sorted(made):
        raise StoreError(DAMAGED.format(path=path))


def _fill(connection: sa.Connection, archive: zipfile.ZipFile, part: TablePart, path: Path) -> None:
    """Fill a table by the names of its columns: one that the backup lacks is blank."""
    table = sa.Table(part.name, sa.MetaData(), autoload_with=connection)
    file = pq.ParquetFile(pa.BufferReader(archive.read(part.file)))
    names = file.schema_arrow.names
    unknown = [name for name in names if name not in table.c]
    if unknown:
        words = OTHER_COLUMNS.format(path=path, table=part.name, columns=", ".join(unknown))
        raise StoreError(words)
    needed = {column.name for column in table.c if not column.nullable}
    if len(set(names)) != len(names) or needed - set(names) or file.metadata.num_rows != part.rows:
        raise pa.ArrowInvalid(part.name)
    if connection.execute(sa.select(table).limit(1)).first() is not None:
        connection.execute(sa.delete(table))  # what a migration put in; the backup has it, too
    for group in range(file.num_row_groups):
        bulk.append(connection, table, file.read_row_group(group))
