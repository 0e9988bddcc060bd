"""How do all rows of a table come out at once, as fast as from a file of columns?

Reading row by row costs by the cell. So each file leaves its rows a second time, column by
column, in compressed blocks that are written in the same transaction. The rows remain what is
looked up, compared and corrected; a block only repeats them and can be made again from them.
Small blocks are merged with those before them, so there are never many.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pyarrow as pa
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import DAMAGED_BLOCK, DamagedBlockError
from analysis.store.schema import ROWS, blocks, stored_columns
from analysis.tables.kinds import Kind

MOST_ROWS = 262_144
"""Rows of a block at most: what is held twice in memory while a block is read."""

MERGED_UP_TO = 2
"""A block is merged with the one before it if that isn't this many times as long."""

_CELLS: dict[Kind, pa.DataType] = {
    Kind.TEXT: pa.string(),
    Kind.CODE: pa.dictionary(pa.int32(), pa.string()),
    Kind.CODES: pa.dictionary(pa.int32(), pa.string()),
    Kind.DATE: pa.int32(),
    Kind.MONTH: pa.int32(),
    Kind.INSTANT: pa.int64(),
    Kind.COUNT: pa.int64(),
    Kind.FLAG: pa.int8(),
}


def cells_of(table: str) -> pa.Schema:
    """Columns of a block: what is known of a row, and whether it withdraws its key."""
    own = {column.name: _CELLS[column.kind] for column in stored_columns(table)}
    return pa.schema({"row": pa.int64(), "received_at": pa.int64(), "void": pa.int8(), **own})


def add(connection: sa.Connection, table: str, rows: pa.Table) -> None:
    """Add rows just stored, in the order of their number."""
    for start in range(0, rows.num_rows, MOST_ROWS):
        _add_one(connection, table, _as_block(table, rows.slice(start, MOST_ROWS)))


def make_all(connection: sa.Connection, table: str) -> None:
    """Make every block of a table from its rows."""
    connection.execute(sa.delete(blocks).where(blocks.c.table_name == table))
    catch_up(connection, table)


def catch_up(connection: sa.Connection, table: str) -> None:
    """Make the blocks of rows that are in none yet, such as restored ones."""
    rows = ROWS[table]
    own = blocks.c.table_name == table
    newest = connection.execute(sa.select(sa.func.max(blocks.c.first_row)).where(own)).scalar()
    done = 0 if newest is None else _unpacked(connection, table, newest)["row"][-1].as_py()
    last = connection.execute(sa.select(sa.func.max(rows.c.row))).scalar() or 0
    columns = [rows.c[column] for column in cells_of(table).names]
    for start in range(done + 1, last + 1, MOST_ROWS):
        some = sa.select(*columns).where(rows.c.row >= start, rows.c.row < start + MOST_ROWS)
        found = bulk.fetch(connection, some).sort_by("row")
        if found.num_rows:
            add(connection, table, found)


def read(connection: sa.Connection, table: str, then: Callable[[pa.Table], pa.Table]) -> pa.Table:
    """All rows of a table in the order of their number; `then` is done to each block."""
    parts = [then(block) for _, block in each(connection, table)]
    return pa.concat_tables([cells_of(table).empty_table(), *parts])


def each(connection: sa.Connection, table: str) -> Iterator[tuple[int, pa.Table]]:
    """The blocks of a table with the number of their first row, in its order."""
    own = blocks.c.table_name == table
    query = sa.select(blocks.c.first_row).where(own).order_by(blocks.c.first_row)
    for first in connection.scalars(query).all():
        yield first, _unpacked(connection, table, first)


def _add_one(connection: sa.Connection, table: str, rows: pa.Table) -> None:
    own = blocks.c.table_name == table
    last = sa.select(blocks.c.first_row, blocks.c.n_rows).where(own)
    last = last.order_by(blocks.c.first_row.desc()).limit(1)
    while (before := connection.execute(last).first()) is not None:
        together = before.n_rows + rows.num_rows
        if together > MOST_ROWS or before.n_rows >= MERGED_UP_TO * rows.num_rows:
            break
        rows = pa.concat_tables([_unpacked(connection, table, before.first_row), rows])
        connection.execute(sa.delete(blocks).where(own, blocks.c.first_row == before.first_row))
    connection.execute(
        sa.insert(blocks).values(
            table_name=table,
            first_row=rows["row"][0].as_py(),
            n_rows=rows.num_rows,
            packed=packed(rows),
        )
    )


def _as_block(table: str, rows: pa.Table) -> pa.Table:
    columns = {}
    for field in cells_of(table):
        cells = rows[field.name]
        if pa.types.is_dictionary(field.type) and not pa.types.is_dictionary(cells.type):
            cells = cells.dictionary_encode()
        columns[field.name] = cells.cast(field.type)
    return pa.table(columns)


def packed(rows: pa.Table) -> bytes:
    """Columns as compressed bytes."""
    whole = rows.unify_dictionaries().combine_chunks()
    sink = pa.BufferOutputStream()
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_stream(sink, whole.schema, options=options) as stream:
        stream.write_table(whole)
    return bytes(sink.getvalue())


def unpacked(packed: bytes) -> pa.Table:
    """Columns from compressed bytes.

    Raises
    ------
    DamagedBlockError
        These bytes are not what was stored.
    """
    try:
        rows = pa.ipc.open_stream(pa.py_buffer(packed)).read_all()
        rows.validate(full=True)
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise DamagedBlockError(DAMAGED_BLOCK) from error
    return rows


def _check_order(rows: pa.Table, first_row: int, n_rows: int) -> None:
    """Row numbers go up from the first, and there are as many as were stored."""
    number = rows["row"].to_numpy() if "row" in rows.column_names else np.empty(0, np.int64)
    if len(number) != n_rows or number[0] != first_row or not (np.diff(number) > 0).all():
        raise DamagedBlockError(DAMAGED_BLOCK)


def _unpacked(connection: sa.Connection, table: str, first_row: int) -> pa.Table:
    query = sa.select(blocks.c.packed, blocks.c.n_rows).where(
        blocks.c.table_name == table, blocks.c.first_row == first_row
    )
    stored = connection.execute(query).one()
    rows = unpacked(stored.packed)
    _check_order(rows, first_row, stored.n_rows)
    # A block written before a column was added doesn't have it: there it is blank. No column was
    # ever removed, so another name is a damaged one.
    if not set(rows.column_names) <= set(cells_of(table).names):
        raise DamagedBlockError(DAMAGED_BLOCK)
    missing = [field for field in cells_of(table) if field.name not in rows.column_names]
    for field in missing:
        rows = rows.append_column(field, pa.nulls(rows.num_rows, field.type))
    rows = rows.select(cells_of(table).names)
    if rows.schema.types != cells_of(table).types:
        raise DamagedBlockError(DAMAGED_BLOCK)
    return rows
