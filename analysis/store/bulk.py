"""How are many rows written and read at once, as Arrow tables?

SQLite: through the Arrow driver on the connection's own transaction. PostgreSQL: through
psycopg's ``COPY``.
"""

from __future__ import annotations

import itertools
from typing import Any

import pyarrow as pa
import sqlalchemy as sa

from analysis.store.faults import ReadingError

_ARROW = {"TEXT": pa.string(), "BIGINT": pa.int64(), "BLOB": pa.binary()}
ROWS_A_PART = 100_000
"""Rows of PostgreSQL that are Python objects at one time."""

_POSTGRESQL = {"TEXT": "text", "BIGINT": "int8", "BLOB": "bytea"}
_EXAMPLE = {"TEXT": "''", "BIGINT": "0", "BLOB": "x''"}


def fetch(connection: sa.Connection, query: sa.Select[Any]) -> pa.Table:
    """Rows of a query without an order, typed by its columns (text, whole numbers, bytes)."""
    if connection.dialect.name == "sqlite":
        return _fetch_sqlite(connection, query)
    return _fetch_postgresql(connection, query)


def empty(table: sa.Table) -> pa.Table:
    """No rows, with the columns as `fetch` types them."""
    return pa.schema({c.name: kind_of(c) for c in table.c}).empty_table()


def kind_of(column: sa.ColumnElement[Any]) -> pa.DataType:
    """The Arrow type of a column as `fetch` types it."""
    return _ARROW[_kind_of(column)]


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
        try:
            return cursor.fetch_arrow_table().slice(1)
        except OSError as error:  # as the Arrow stream passes on what SQLite complains of
            raise ReadingError(str(error)) from error


def _fetch_postgresql(connection: sa.Connection, query: sa.Select[Any]) -> pa.Table:
    columns = [(c.name, _kind_of(c)) for c in query.selected_columns]
    schema = pa.schema([(name, _ARROW[kind]) for name, kind in columns])
    text = query.compile(dialect=connection.dialect, compile_kwargs={"literal_binds": True})
    batches = []
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy(f"COPY ({str(text).replace('%%', '%')}) TO STDOUT") as copied,
    ):
        copied.set_types([_POSTGRESQL[kind] for _, kind in columns])
        rows = copied.rows()
        while part := list(itertools.islice(rows, ROWS_A_PART)):
            cells = zip(*part, strict=True)
            arrays = [pa.array(c, kind) for c, kind in zip(cells, schema.types, strict=True)]
            batches.append(pa.record_batch(arrays, schema=schema))
    return pa.Table.from_batches(batches, schema)


def _copy_in(connection: sa.Connection, name: str, rows: pa.Table) -> None:
    flags = [
        n
        for n, kind in zip(rows.column_names, rows.schema.types, strict=True)
        if kind == pa.bool_()
    ]
    for flag in flags:
        rows = rows.set_column(rows.column_names.index(flag), flag, rows[flag].cast(pa.int64()))
    columns = ", ".join(f'"{n}"' for n in rows.column_names)
    with (
        _driver(connection).cursor() as cursor,
        cursor.copy(f"COPY {name} ({columns}) FROM STDIN") as copied,
    ):
        for part in rows.to_batches(max_chunksize=ROWS_A_PART):
            for row in zip(*(column.to_pylist() for column in part.columns), strict=True):
                copied.write_row(row)
