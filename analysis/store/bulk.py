"""How do many rows go in and out at once, as Arrow tables?

SQLite: through the Arrow driver on the connection's own transaction. PostgreSQL: through
``COPY`` in its text form, which Arrow writes and reads at full speed.
"""

from __future__ import annotations

import io
from typing import Any

import pyarrow as pa
import pyarrow.csv as pa_csv
import sqlalchemy as sa

_ARROW = {"TEXT": pa.string(), "BIGINT": pa.int64(), "BLOB": pa.binary()}
_EXAMPLE = {"TEXT": "''", "BIGINT": "0", "BLOB": "x''"}


def fetch(connection: sa.Connection, query: sa.Select[Any]) -> pa.Table:
    """Rows of a query without an order, typed by its columns (text, whole numbers, bytes)."""
    if connection.dialect.name == "sqlite":
        return _fetch_sqlite(connection, query)
    return _fetch_postgresql(connection, query)


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
    kinds = {f.name: "BYTES" if _is_bytes(f.type) else "BIGINT" for f in rows.schema}
    if connection.dialect.name == "sqlite":
        with _driver(connection).cursor() as cursor:
            cursor.adbc_ingest(name, rows, mode="create", temporary=True)
    else:
        columns = ", ".join(
            f"{n} {'BYTEA' if kind == 'BYTES' else kind}" for n, kind in kinds.items()
        )
        connection.exec_driver_sql(f"CREATE TEMPORARY TABLE {name} ({columns}) ON COMMIT DROP")
        _copy_in(connection, name, rows)
    types = {"BYTES": sa.LargeBinary(), "BIGINT": sa.BigInteger()}
    return sa.table(name, *(sa.column(n, types[kind]) for n, kind in kinds.items()))


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
    types = {n: pa.string() if kind == "BLOB" else _ARROW[kind] for n, kind in kinds.items()}
    if not buffer.tell():
        return pa.schema({n: _ARROW[kind] for n, kind in kinds.items()}).empty_table()
    buffer.seek(0)
    table = pa_csv.read_csv(
        buffer,
        read_options=pa_csv.ReadOptions(column_names=list(kinds)),
        parse_options=pa_csv.ParseOptions(newlines_in_values=True),
        convert_options=pa_csv.ConvertOptions(
            column_types=types,
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
        ),
    )
    for position, (name, kind) in enumerate(kinds.items()):
        if kind == "BLOB":
            raw = [None if v is None else bytes.fromhex(v[2:]) for v in table[name].to_pylist()]
            table = table.set_column(position, name, pa.array(raw, pa.binary()))
    return table


def _copy_in(connection: sa.Connection, name: str, rows: pa.Table) -> None:
    for position, field in enumerate(rows.schema):
        if _is_bytes(field.type):
            cells = rows[field.name].to_pylist()
            text = pa.array([None if v is None else "\\x" + v.hex() for v in cells], pa.string())
            rows = rows.set_column(position, field.name, text)
        elif pa.types.is_boolean(field.type):
            rows = rows.set_column(position, field.name, rows[field.name].cast(pa.int64()))
        elif pa.types.is_dictionary(field.type):
            rows = rows.set_column(position, field.name, rows[field.name].cast(pa.string()))
    buffer = io.BytesIO()
    pa_csv.write_csv(rows, buffer, pa_csv.WriteOptions(include_header=False))
    columns = ", ".join(f'"{n}"' for n in rows.column_names)
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy(f"COPY {name} ({columns}) FROM STDIN (FORMAT csv)") as copied,
    ):
        copied.write(buffer.getbuffer())
