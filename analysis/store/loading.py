"""How are triggers and indexes of a table put out of force for a moment?

Nobody else writes meanwhile, and all of it is part of the transaction: others never see the table
without them. SQLite asks a trigger about each row that is added and puts each into every index, which
takes longer than the row itself.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager

import sqlalchemy as sa

from analysis.store.schema import ROWS

LEAST_BYTES = 1_000_000
"""A file of fewer bytes has too few rows to be worth the while."""


@contextmanager
def many_rows(connection: sa.Connection, size: int) -> Iterator[None]:
    """Add the rows of a file of so many bytes to the home log, at less cost a row.

    Of a log that was empty, the indexes for comparing rows with earlier files are made at the end.
    """
    if connection.dialect.name != "sqlite" or size < LEAST_BYTES:
        yield
        return
    log = ROWS["home_log"]
    is_empty = connection.execute(sa.select(log.c.row).limit(1)).first() is None
    of_earlier = [str(i.name) for i in log.indexes if log.c.key_row not in i.columns.values()]
    with (
        without_triggers(connection, log.name),
        _without(connection, "INDEX", log.name, of_earlier if is_empty else ()),
    ):
        yield


@contextmanager
def without_triggers(connection: sa.Connection, table: str) -> Iterator[None]:
    """Put out of force what refuses to change or delete rows of one table.

    On a server only the owner of the table may.
    """
    if connection.dialect.name == "sqlite":
        with _without(connection, "TRIGGER", table):
            yield
        return
    connection.exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER USER").close()
    yield
    connection.exec_driver_sql(f"ALTER TABLE {table} ENABLE TRIGGER USER").close()


@contextmanager
def _without(
    connection: sa.Connection, kind: str, table: str, names: Collection[str] | None = None
) -> Iterator[None]:
    """Drop what SQLite has of a kind for a table, all of it or by name, and make it again as it was."""
    query = sa.text("SELECT name, sql FROM sqlite_master WHERE type = :kind AND tbl_name = :table")
    found = connection.execute(query, {"kind": kind.lower(), "table": table}).all()
    dropped = [row for row in found if names is None or row.name in names]
    for row in dropped:
        connection.exec_driver_sql(f'DROP {kind} "{row.name}"').close()
    yield
    for row in dropped:
        connection.exec_driver_sql(row.sql).close()
