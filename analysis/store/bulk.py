"""How do many rows go in and out at once, as Arrow tables?

SQLite: through the Arrow driver on the connection's own transaction. PostgreSQL: through
``COPY`` in its text form, which Arrow writes and reads at full speed.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv
import sqlalchemy as sa

_ARROW = {"TEXT": pa.string(), "BIGINT": pa.int64(), "BLOB": pa.binary()}
ROWS_A_PART = 100_000
"""Rows turned into text at once on their way to PostgreSQL."""

_EXAMPLE = {"TEXT": "''", "BIGINT": "0", "BLOB": "x''"}


def fetch(connection: sa.Connection, query: sa.Select[Any]) -> pa.Table:
    """Rows of a query without an order, typed by its columns (text, whole numbers, bytes)."""
    if connection.dialect.name == "sqlite":
        return _fetch_sqlite(connection, query)
    return _fetch_postgresql(connection, query)


def empty(table: sa.Table) -> pa.Table:
    """No rows, with the columns as `fetch` types them."""
    return pa.schema({c.name: _ARROW[_kind_of(c)] for c in table.c}).empty_table()


def append(connection: sa.Connection, table: sa.Table, rows: pa.Table) -> None:
    """Add the rows of an Arrow table to a table; its columns go by name."""
    if rows.num_rows == 0:
        return
    if connection.dialect.name == "sqlite":
        with _driver(connection).cursor() as cursor:
            cursor.adbc_ingest(table.name, rows, mode="append")
    else:
        _copy_in(connection, table.name, rows)


def stage(connection: sa.Connection, name: str, rows: pa.Table) -> sa.TableClause:
    """Put an Arrow table into a temporary table of that name, in place of what it held."""
    connection.exec_driver_sql(f"DROP TABLE IF EXISTS {name}").close()
    columns = [sa.Column(field.name, _sql_type(field.type)) for field in rows.schema]
    table = sa.Table(name, sa.MetaData(), *columns, prefixes=["TEMPORARY"])
    if connection.dialect.name == "sqlite":
        with _driver(connection).cursor() as cursor:
            cursor.adbc_ingest(name, rows, mode="create", temporary=True)
    else:
        table.create(connection)
        _copy_in(connection, name, rows)
    return table


def _sql_type(kind: pa.DataType) -> sa.types.TypeEngine[Any]:
    if _is_bytes(kind):
        return sa.LargeBinary()
    return sa.BigInteger() if pa.types.is_integer(kind) else sa.Text()


def _is_bytes(kind: pa.DataType) -> bool:
    return bool(pa.types.is_binary(kind) or pa.types.is_fixed_size_binary(kind))


def _driver(connection: sa.Connection) -> Any:
    return connection.connection.driver_connection


def _kind_of(column: sa.ColumnElement[Any]) -> str:
    if isinstance(column.type, sa.LargeBinary):
        return "BLOB"
    return "BIGINT" if isinstance(column.type, sa.Integer) else "TEXT"


def _fetch_sqlite(connection: sa.Connection, query: sa.Select[Any]) -> pa.Table:
    # The driver takes the type of a column from the first rows, which may all be blank: so an
    # example of each type goes first and is cut off again.
    columns = list(query.selected_columns)
    example = ", ".join(f'{_EXAMPLE[_kind_of(c)]} AS "{c.name}"' for c in columns)
    compiled = query.compile(
        dialect=connection.dialect, compile_kwargs={"render_postcompile": True}
    )
    values = [compiled.params[name] for name in compiled.positiontup or ()]
    with _driver(connection).cursor() as cursor:
        cursor.execute(f"SELECT {example} UNION ALL {compiled}", values or None)
        return cursor.fetch_arrow_table().slice(1)


def _fetch_postgresql(connection: sa.Connection, query: sa.Select[Any]) -> pa.Table:
    kinds = {c.name: _kind_of(c) for c in query.selected_columns}
    text = query.compile(dialect=connection.dialect, compile_kwargs={"literal_binds": True})
    buffer = io.BytesIO()
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy(f"COPY ({str(text).replace('%%', '%')}) TO STDOUT (FORMAT csv)") as copied,
    ):
        for part in copied:
            buffer.write(part)
    arrow = {name: _ARROW[kind] for name, kind in kinds.items()}
    if not buffer.tell():
        return pa.schema(arrow).empty_table()
    buffer.seek(0)
    table = pa_csv.read_csv(
        buffer,
        read_options=pa_csv.ReadOptions(column_names=list(kinds)),
        parse_options=pa_csv.ParseOptions(newlines_in_values=True),
        convert_options=pa_csv.ConvertOptions(
            column_types={n: pa.string() if pa.types.is_binary(t) else t for n, t in arrow.items()},
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
        ),
    )
    for position, (name, kind) in enumerate(kinds.items()):
        if kind == "BLOB":
            table = table.set_column(position, name, _bytes_of_hex(table[name].combine_chunks()))
    return table


def _copy_in(connection: sa.Connection, name: str, rows: pa.Table) -> None:
    for position, field in enumerate(rows.schema):
        cells = rows[field.name]
        if _is_bytes(field.type):
            cells = _hex_of_bytes(cells.cast(pa.binary()).combine_chunks())
        elif pa.types.is_boolean(field.type):
            cells = cells.cast(pa.int64())
        elif pa.types.is_dictionary(field.type):
            cells = cells.cast(pa.string())
        rows = rows.set_column(position, field.name, cells)
    columns = ", ".join(f'"{n}"' for n in rows.column_names)
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy(f"COPY {name} ({columns}) FROM STDIN (FORMAT csv)") as copied,
    ):
        for part in rows.to_batches(max_chunksize=ROWS_A_PART):
            buffer = io.BytesIO()
            pa_csv.write_csv(part, buffer, pa_csv.WriteOptions(include_header=False))
            copied.write(buffer.getbuffer())


_HEX = np.frombuffer("".join(f"{n:02x}" for n in range(256)).encode(), dtype="S2")
_DIGIT = np.zeros(256, dtype=np.uint8)
_DIGIT[np.frombuffer(b"0123456789abcdef", dtype=np.uint8)] = np.arange(16)


def _hex_of_bytes(cells: pa.Array) -> pa.Array:
    """Cells as PostgreSQL writes bytes: a backslash, an x and hexadecimal digits.

    Hashes, which have 16 bytes and stand in every row, at full speed; others one by one.
    """
    if not pc.all(pc.equal(pc.binary_length(cells), 16), min_count=0).as_py():
        words = [None if cell is None else f"\\x{cell.hex()}" for cell in cells.to_pylist()]
        return pa.array(words, pa.string())
    raw = _fixed(cells.fill_null(bytes(16)), 16)
    text = np.empty((len(cells), 34), dtype=np.uint8)
    text[:, :2] = np.frombuffer(b"\\x", dtype=np.uint8)
    text[:, 2:] = _HEX[raw].view(np.uint8).reshape(len(cells), 32)
    return pc.if_else(
        cells.is_valid(), _cells(text).cast(pa.string()), pa.scalar(None, pa.string())
    )


def _bytes_of_hex(cells: pa.Array) -> pa.Array:
    """Inverse of `_hex_of_bytes`."""
    if not pc.all(pc.equal(pc.binary_length(cells), 34), min_count=0).as_py():
        whole = [None if cell is None else bytes.fromhex(cell[2:]) for cell in cells.to_pylist()]
        return pa.array(whole, pa.binary())
    text = _fixed(cells.fill_null("\\x" + 32 * "0").cast(pa.binary()), 34)
    digits = _DIGIT[text.reshape(-1, 34)[:, 2:]].reshape(-1, 16, 2)
    raw = digits[:, :, 0] * np.uint8(16) + digits[:, :, 1]
    return pc.if_else(cells.is_valid(), _cells(raw), pa.scalar(None, pa.binary()))


def _fixed(cells: pa.Array, width: int) -> npt.NDArray[np.uint8]:
    whole = cells.cast(pa.binary(width))
    raw = np.frombuffer(whole.buffers()[1], dtype=np.uint8)
    return raw[width * whole.offset : width * (whole.offset + len(whole))]


def _cells(raw: npt.NDArray[np.uint8]) -> pa.Array:
    buffer = pa.py_buffer(np.ascontiguousarray(raw))
    kind = pa.binary(raw.shape[1])
    return pa.Array.from_buffers(kind, len(raw), [None, buffer]).cast(pa.binary())
