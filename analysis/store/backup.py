"""How does everything that a store holds go into one file, from any kind of database?

A backup is a zip archive: one Parquet file a table and `contents.json`, which names the
schema of the tables, how many rows each has and the SHA-256 of each file. The same store
gives the same bytes. A store of either kind can be made from it (`analysis.store.restore`).
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import sqlalchemy as sa

from analysis.files import OWNER_ONLY, FileError, writing_whole
from analysis.store import bulk
from analysis.store.database import Database
from analysis.store.faults import StoreError
from analysis.store.schema import REVISION, attempts, blocks, metadata, sign_ins

WHAT = "linedays backup"
FORMAT = 1
CONTENTS = "contents.json"

LEFT_OUT: Mapping[str, str] = {
    blocks.name: "repeats the rows and is made again from them",
    sign_ins.name: "people sign in again",
    attempts.name: "holds for a day at most",
}
"""Tables that no backup holds, and why. Every other one is in it, those added later too."""

ROWS_A_PART = 262_144
"""Rows that are held in memory at once, where rows are numbered."""

_NO_DATE = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class TablePart:
    """What `contents.json` holds about a table."""

    name: str
    file: str
    rows: int
    sha256: str


def kept_tables() -> list[sa.Table]:
    """Tables that a backup holds, in the order of their names."""
    names = sorted(metadata.tables.keys() - LEFT_OUT.keys())
    return [metadata.tables[name] for name in names]


def write(database: Database, path: Path) -> None:
    """Write all that a store holds to a new file, as of one moment; others may write meanwhile.

    Parameters
    ----------
    database : Database
        The opened store.
    path : Path
        A file that isn't there yet.

    Raises
    ------
    StoreError
        The file is there already or can't be written.
    """
    if path.exists():
        raise StoreError(f"{path} is there already. Name a new file for the backup.")
    try:
        with writing_whole(path) as file:
            _write_all(database, file)
    except FileError as fault:
        raise StoreError(str(fault)) from None


def _write_all(database: Database, file: Any) -> None:
    with zipfile.ZipFile(file, "w") as archive:
        with database.reading() as connection:
            parts = [_write_table(connection, table, archive) for table in kept_tables()]
        contents = {
            "what": WHAT,
            "format": FORMAT,
            "schema": REVISION,
            "tables": [asdict(part) for part in parts],
        }
        archive.writestr(_entry(CONTENTS), json.dumps(contents, indent=1))


def _entry(name: str) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, _NO_DATE)
    entry.external_attr = OWNER_ONLY << 16
    return entry


def _write_table(connection: sa.Connection, table: sa.Table, archive: zipfile.ZipFile) -> TablePart:
    name, n_rows = f"{table.name}.parquet", 0
    schema = bulk.empty(table).schema
    with archive.open(_entry(name), "w", force_zip64=True) as entry:
        hashing = _Hashing(entry)
        with pq.ParquetWriter(pa.PythonFile(hashing, "w"), schema, compression="zstd") as out:
            for rows in _in_parts(connection, table):
                out.write_table(rows.cast(schema), row_group_size=ROWS_A_PART)
                n_rows += rows.num_rows
    return TablePart(table.name, name, n_rows, hashing.digest.hexdigest())


def _in_parts(connection: sa.Connection, table: sa.Table) -> Iterator[pa.Table]:
    """Rows of a table in the order of its key; numbered ones so many at a time."""
    key = list(table.primary_key.columns)
    everything = sa.select(*table.c)
    if len(key) > 1 or not isinstance(key[0].type, sa.Integer):
        whole = bulk.fetch(connection, everything)
        yield whole.sort_by([(column.name, "ascending") for column in key])
        return
    number = key[0]
    first, last = connection.execute(sa.select(sa.func.min(number), sa.func.max(number))).one()
    if first is None:
        return
    for start in range(first, last + 1, ROWS_A_PART):
        some = everything.where(number >= start, number < start + ROWS_A_PART)
        yield bulk.fetch(connection, some).sort_by(number.name)


class _Hashing:
    """A file that is written once from front to back, and the hash of its content."""

    def __init__(self, file: Any) -> None:
        self._file = file
        self.digest = hashlib.sha256()
        self.closed = False

    def write(self, data: Any) -> int:
        """Pass bytes on."""
        self.digest.update(data)
        return int(self._file.write(data))

    def flush(self) -> None:
        """Nothing is held back here."""

    def close(self) -> None:
        """The archive closes its own entry."""
        self.closed = True
