"""How is a correction of refused rows undone, so that the rows are on the list again?"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from hashlib import blake2b

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import StoreError
from analysis.store.known import in_force_now
from analysis.store.numbers import next_number
from analysis.store.schema import KEYS, ROWS, files, refused, refused_resolved, stored_columns
from analysis.store.writing import FileInfo, Writer

UNDONE = ", correction undone"
"""Follows the name of the file of rows that are on the list again."""


def undo(connection: sa.Connection, numbers: Sequence[int], by: str, at: int) -> int:
    """Undo corrections of refused rows, from `at` on, in microseconds UTC; returns their rows.

    What the ingests stored is void, or as it was before where they changed a row that was there.
    The rows that they corrected are on the list again, under new numbers.

    Raises
    ------
    StoreError
        One of the ingests was undone already, or corrected nothing.
    """
    n_rows = 0
    for number in numbers:
        corrected = bulk.fetch(
            connection,
            sa.select(*refused.c)
            .join(refused_resolved, refused_resolved.c.refused_row == refused.c.refused_row)
            .where(refused_resolved.c.file == number),
        )
        if not corrected.num_rows or _is_undone(connection, number):
            raise StoreError("This correction was undone already, or corrected nothing.")
        refused_in = corrected["file"].unique().to_pylist()
        writers = [_writer(connection, number, file, by, at) for file in refused_in]
        for table in ROWS:
            n_rows += _take_back(connection, writers[0], table, number, at)
        _take_off(connection, number, writers[0].file)
        for file, writer in zip(refused_in, writers, strict=True):
            _list_again(connection, corrected.filter(pc.equal(corrected["file"], file)), writer)
    return n_rows


def _sent(number: int) -> str:
    """What names the undoing of an ingest."""
    return hashlib.sha256(f"undo {number}".encode()).hexdigest()


def _is_undone(connection: sa.Connection, number: int) -> bool:
    same = sa.select(files.c.file).where(files.c.sha256 == _sent(number))
    return connection.execute(same).first() is not None


def _writer(connection: sa.Connection, number: int, refused_in: int, by: str, at: int) -> Writer:
    """An ingest of rows of one file and source that are on the list again."""
    query = sa.select(files.c.name, files.c.source).where(files.c.file == refused_in)
    name, source = connection.execute(query).one()
    name = f"{str(name).removesuffix(UNDONE)}{UNDONE}"
    return Writer(connection, FileInfo(name, _sent(number), 0, source, at, at, by))


def _take_back(connection: sa.Connection, writer: Writer, table: str, number: int, at: int) -> int:
    """Void what an ingest stored in a table, or store again what it replaced."""
    rows, keys = ROWS[table], KEYS[table]
    mine = connection.execute(
        sa.select(rows.c.row, rows.c.key_row).where(rows.c.file == number, in_force_now(rows))
    ).all()
    if not mine:
        return 0
    parts = []
    for row, key_row in mine:
        earlier = connection.execute(
            sa.select(rows.c.row)
            .where(rows.c.key_row == key_row, rows.c.row < row)
            .order_by(rows.c.received_at.desc(), rows.c.row.desc())
            .limit(1)
        ).scalar()
        columns = [rows.c[c.name] for c in stored_columns(table)]
        columns += [
            rows.c[n] for n in ("void", "content", "sheet", "row_number", "extra", "doubts")
        ]
        cells = bulk.fetch(connection, sa.select(*columns).where(rows.c.row == (earlier or row)))
        key = connection.execute(
            sa.select(keys.c.key).where(keys.c.key_row == key_row)
        ).scalar_one()
        content = cells["content"][0].as_py()
        void = earlier is None or bool(cells["void"][0].as_py())
        if earlier is None:
            content = blake2b(content + b"\x1fcorrection undone", digest_size=16).digest()
        cells = cells.drop_columns(["void", "content"])
        for name, array in (
            ("received_at", pa.array([at])),
            ("void", pa.array(np.array([void]))),
            ("key", pa.array([key], pa.binary(16))),
            ("content", pa.array([content], pa.binary(16))),
            ("mends", pa.nulls(1, pa.int64())),
        ):
            cells = cells.append_column(name, array)
        parts.append(cells)
    together = pa.concat_tables(parts)
    added = writer.add(table, together)
    writer.count(table, together.num_rows, added.stored, added.same_as_before, 0, 0)
    return together.num_rows


def _list_again(connection: sa.Connection, corrected: pa.Table, writer: Writer) -> None:
    """Put corrected rows on the list again, under new numbers."""
    first = next_number(connection, refused.c.refused_row)
    again = corrected.drop_columns(["refused_row", "file"])
    again = again.append_column("refused_row", pa.array(first + np.arange(again.num_rows)))
    again = again.append_column("file", pa.array(np.full(again.num_rows, writer.file, np.int64)))
    bulk.append(connection, refused, again)


def _take_off(connection: sa.Connection, number: int, file: int) -> None:
    """Take off the list what the correction refused."""
    own = sa.select(refused.c.refused_row, sa.literal(file), sa.literal("undone")).where(
        refused.c.file == number,
        ~sa.exists().where(refused_resolved.c.refused_row == refused.c.refused_row),
    )
    columns = ["refused_row", "file", "how"]
    connection.execute(sa.insert(refused_resolved).from_select(columns, own))
