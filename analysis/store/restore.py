"""How does a backup become a store again, all of it or nothing?

The file is checked whole before anything is made. Tables are made as they were when the
backup was written, filled, and brought to this version, in one transaction: what is killed half
way leaves no table behind. Only a place without tables takes a backup, so none is ever
overwritten.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import sqlalchemy as sa

from analysis.errors import UserError
from analysis.store import (
    accesses,
    arrangements,
    blocks,
    bulk,
    calls,
    chain,
    known,
    policies,
    provenance,
    rate_notes,
    signal_acts,
    source_profiles,
    users,
)
from analysis.store.backup import CONTENTS, FORMAT, LEFT_OUT, ROWS_A_PART, WHAT, TablePart
from analysis.store.database import Database
from analysis.store.every_version import every_version
from analysis.store.faults import StoreError
from analysis.store.migrate import known_revisions, upgrade_on
from analysis.store.schema import ROWS, changes
from analysis.store.verify import verify
from analysis.tables.columns import FrameError
from analysis.unfinished import temporary_folder

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

NONSENSE = (
    "The backup {path} holds what linedays never writes, such as a word of no vocabulary; nothing "
    "was restored. Use another backup."
)
CHANGED = (
    "The backup {path} was changed after it was written: {difference}. Nothing was restored. Use "
    "another backup."
)
TOO_LARGE = (
    "The backup {path} unpacks to far more than linedays writes, in its table {table}; nothing was "
    "restored. Use another backup."
)

ROWS_AT_ONCE = 16_384
MOST_BYTES = 256 << 20
"""Bytes of rows that are read at once, at most."""
MOST_GROWTH = 100
"""How many times its size a long column may have when it is unpacked."""
_ENCRYPTED = 1
_BYTES_AT_ONCE = 1 << 20


@dataclass(frozen=True)
class Contents:
    """What a backup holds about itself."""

    schema: str
    tables: tuple[TablePart, ...]


def restore(database: Database, path: Path, name: Path | None = None) -> None:
    """Fill an empty database from a backup.

    Parameters
    ----------
    database : Database
        Without tables; what is made is of this program's schema.
    path : Path
        A backup that :func:`checked` accepted.
    name : Path, optional
        What the backup is called in sentences, if that is not `path`.

    Raises
    ------
    StoreError
        There are tables already, or the backup can't be used or holds what this program never
        writes; nothing was made then.
    """
    shown = name or path
    with _opened(path, shown) as archive:
        contents = _contents(archive, shown)
        with database.reading() as connection:
            _check_empty(connection, database)
        database.let_people_read_while_it_is_written()
        with database.changing_tables() as connection:
            _check_empty(connection, database)  # nobody else came first
            upgrade_on(connection, contents.schema)
            tables = _tables(connection, contents, shown)
            for part in contents.tables:
                _fill(connection, archive, tables[part.name], part, shown)
            upgrade_on(connection)
            for table in ROWS:
                blocks.catch_up(connection, table)
            chain.catch_up(connection)
            _check_content(connection, shown)


def checked(path: Path, name: Path | None = None) -> Contents:
    """Read a backup through and compare every file in it with its SHA-256.

    Raises
    ------
    StoreError
        It isn't there, is no backup, is damaged, or is of a newer version.
    """
    shown = name or path
    with _opened(path, shown) as archive:
        contents = _contents(archive, shown)
        for part in contents.tables:
            if _sha256(archive, part.file) != part.sha256:
                raise StoreError(DAMAGED.format(path=shown))
    return contents


@contextmanager
def _opened(path: Path, shown: Path) -> Iterator[zipfile.ZipFile]:
    """Open the archive; what its reading complains of becomes a sentence."""
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, NotImplementedError):
        raise StoreError(NO_BACKUP.format(path=shown)) from None
    except OSError as fault:
        raise StoreError(f"The backup {shown} can't be read: {fault.strerror}.") from None
    with archive:
        try:
            yield archive
        except (zipfile.BadZipFile, EOFError, KeyError, NotImplementedError, pa.ArrowException):
            raise StoreError(DAMAGED.format(path=shown)) from None


def _contents(archive: zipfile.ZipFile, path: Path) -> Contents:
    # A backup's files are compressed inside: what is packed again could grow without a limit.
    is_ours = all(
        not entry.flag_bits & _ENCRYPTED and entry.compress_type == zipfile.ZIP_STORED
        for entry in archive.infolist()
    )
    if CONTENTS not in archive.namelist() or not is_ours:
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


def _tables(connection: sa.Connection, contents: Contents, path: Path) -> Mapping[str, sa.Table]:
    """Tables of the backup's schema by name; the backup holds all of them and no other."""
    made = sa.MetaData()
    made.reflect(connection)
    wanted = made.tables.keys() - LEFT_OUT.keys() - {"alembic_version"}
    if sorted(part.name for part in contents.tables) != sorted(wanted):
        raise StoreError(DAMAGED.format(path=path))
    return made.tables


def _fill(
    connection: sa.Connection,
    archive: zipfile.ZipFile,
    table: sa.Table,
    part: TablePart,
    path: Path,
) -> None:
    """Fill a table by the names of its columns: one that the backup lacks is blank."""
    with temporary_folder() as folder:
        unpacked = folder / "part"
        with archive.open(part.file) as packed, unpacked.open("wb") as plain:
            shutil.copyfileobj(packed, plain, _BYTES_AT_ONCE)
        texts = {column.name for column in table.c if not isinstance(column.type, sa.Integer)}
        there = texts.intersection(pq.read_schema(unpacked).names)
        file = pq.ParquetFile(unpacked, read_dictionary=sorted(there))
        _check_part(table, file, part, path)
        if connection.execute(sa.select(table).limit(1)).first() is not None:
            connection.execute(sa.delete(table))  # what a migration put in; the backup has it, too
        schema = pa.schema({name: bulk.kind_of(table.c[name]) for name in file.schema_arrow.names})
        for batch in file.iter_batches(ROWS_AT_ONCE):
            if _bytes_of(batch) > MOST_BYTES:
                raise StoreError(TOO_LARGE.format(path=path, table=part.name))
            bulk.append(connection, table, pa.table(batch).cast(schema))


def _check_part(table: sa.Table, file: pq.ParquetFile, part: TablePart, path: Path) -> None:
    """The file of a table has its columns and as many rows as are named, in parts of our size."""
    names, about = file.schema_arrow.names, file.metadata
    unknown = [name for name in names if name not in table.c]
    if unknown:
        words = OTHER_COLUMNS.format(path=path, table=part.name, columns=", ".join(unknown))
        raise StoreError(words)
    needed = {column.name for column in table.c if not column.nullable}
    if len(set(names)) != len(names) or needed - set(names) or about.num_rows != part.rows:
        raise pa.ArrowInvalid(part.name)
    for number in range(about.num_row_groups):
        group = about.row_group(number)
        cells = [group.column(column) for column in range(group.num_columns)]
        if group.num_rows > ROWS_A_PART or any(
            c.total_uncompressed_size > max(MOST_BYTES, MOST_GROWTH * c.total_compressed_size)
            for c in cells
        ):
            raise StoreError(TOO_LARGE.format(path=path, table=part.name))


def _bytes_of(batch: pa.RecordBatch) -> int:
    """Bytes of a batch once each of its cells is written out."""
    total = 0
    for column in batch.columns:
        if pa.types.is_dictionary(column.type):
            lengths = pc.binary_length(column.dictionary).take(column.indices)
            total += pc.sum(lengths.cast(pa.int64())).as_py() or 0
        else:
            total += column.nbytes
    return total


_READINGS: tuple[Callable[[sa.Connection], object], ...] = (
    partial(known.records, known_at=None),
    every_version,
    provenance.ingests,
    provenance.doubts,
    partial(provenance.refused_rows, at=None),
    partial(accesses.newest, most=None),
    partial(arrangements.every, family_id=None),
    partial(calls.every, family_id=None),
    partial(rate_notes.known, at=None),
    partial(signal_acts.known, at=None),
    policies.every,
    policies.newest,
    source_profiles.every,
    users.all_of,
)
"""What commands and pages read."""


_OF_CELLS = (FrameError, ArithmeticError, LookupError, TypeError, ValueError)
"""What reading raises where a cell is not what this program writes."""


def _check_content(connection: sa.Connection, path: Path) -> None:
    """Everything that commands and pages read can be read, and rows are those that were linked.

    Raises
    ------
    StoreError
        A word is of no vocabulary, a number is out of its range, or rows were changed.
    """
    try:
        for read in _READINGS:
            read(connection)
        connection.execute(sa.select(changes.c.number)).scalar_one()
    except (UserError, sa.exc.InvalidRequestError, *_OF_CELLS):
        raise StoreError(NONSENSE.format(path=path)) from None
    for found in verify(connection):
        if found.difference is not None:
            raise StoreError(CHANGED.format(path=path, difference=found.difference))
