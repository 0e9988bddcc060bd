"""How does SQLAlchemy speak to SQLite through the Arrow driver?

The Arrow driver carries its own SQLite library. Two SQLite libraries in one process must
never open the same file: they don't see each other's locks. Tried with Python's `sqlite3`
next to the Arrow driver, both held the write lock at once and committed rows were gone,
without an error. So small statements, migrations and bulk rows all go through this one
driver. (SQLite's manual warns of it: "How To Corrupt An SQLite Database File", 2.2.1.)
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from types import SimpleNamespace
from typing import Any

import adbc_driver_manager.dbapi as manager
import adbc_driver_sqlite.dbapi as adbc
import sqlalchemy as sa
from adbc_driver_manager import AdbcStatusCode
from sqlalchemy.dialects import registry
from sqlalchemy.dialects.sqlite.base import SQLiteDialect, SQLiteExecutionContext

DRIVER = "sqlite+linedays"


def _called(function: Any, given: Any, named: Any, cancel: Any) -> Any:  # noqa: ARG001
    """Call into the driver; Ctrl+C is raised when it has answered.

    The driver's own way cancels what runs. Its SQLite cannot, and reported that as an error in
    place of Ctrl+C. On Windows the driver calls as here.
    """
    return function(*given, **named)


vars(manager)["_blocking_call"] = _called


class _Cursor:
    """A cursor of the driver that reports no rows for a statement without rows, and damaged text.

    The driver describes such a result as an empty list. SQLAlchemy expects None, and would
    leave the cursor open. Text that is not UTF-8 is damage, which is for the database to report.
    """

    def __init__(self, cursor: Any) -> None:
        self._cursor = cursor

    @property
    def description(self) -> Any:
        return self._cursor.description or None

    def fetchone(self) -> Any:
        """The next row, as the driver gives it."""
        with _damaged_text():
            return self._cursor.fetchone()

    def fetchall(self) -> Any:
        """All rows that are left."""
        with _damaged_text():
            return self._cursor.fetchall()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cursor, name)


@contextlib.contextmanager
def _damaged_text() -> Iterator[None]:
    try:
        yield
    except UnicodeDecodeError as error:
        words = "database disk image is malformed: a text is not UTF-8"
        raise adbc.DatabaseError(words, status_code=AdbcStatusCode.INVALID_DATA) from error


class _Context(SQLiteExecutionContext):
    def create_default_cursor(self) -> Any:
        return _Cursor(super().create_default_cursor())


class SQLiteThroughArrow(SQLiteDialect):
    """SQLite dialect on the Arrow driver; the caller opens transactions itself.

    A connection is in SQLite's own autocommit mode until ``BEGIN`` or ``BEGIN IMMEDIATE`` is
    executed on it; commit and rollback end that transaction.
    """

    driver = "linedays"
    execution_ctx_cls = _Context
    default_paramstyle = "qmark"
    supports_statement_cache = True
    returns_native_bytes = True
    supports_sane_rowcount = False  # the driver does not report how many rows a statement changed
    supports_sane_multi_rowcount = False

    @classmethod
    def import_dbapi(cls) -> Any:
        """The Arrow driver, with the version of the SQLite library in it."""
        with adbc.connect(":memory:", autocommit=True) as probe, probe.cursor() as cursor:
            cursor.execute("SELECT sqlite_version()")
            version = str(cursor.fetchall()[0][0])
        names = {name: getattr(adbc, name) for name in adbc.__all__ if hasattr(adbc, name)}
        number = tuple(int(part) for part in version.split("."))
        return SimpleNamespace(**names, Binary=bytes, sqlite_version_info=number)

    def create_connect_args(self, url: sa.URL) -> Any:
        """Open the file of the URL, without a transaction."""
        return [url.database], {"autocommit": True}

    def _get_server_version_info(self, connection: Any) -> Any:  # noqa: ARG002 - SQLAlchemy's hook
        return self.dbapi.sqlite_version_info  # type: ignore[union-attr]

    def retrieve_dbapi_version(self, dbapi: Any) -> Any:
        """Version of the SQLite library."""
        return dbapi.sqlite_version_info

    def get_default_isolation_level(self, dbapi_conn: Any) -> Any:  # noqa: ARG002
        """SQLite's only one in WAL mode."""
        return "SERIALIZABLE"

    def do_commit(self, dbapi_connection: Any) -> None:
        """End the transaction and keep it."""
        _run(dbapi_connection, "COMMIT")

    def do_rollback(self, dbapi_connection: Any) -> None:
        """End the transaction, if there is one, and undo it."""
        with contextlib.suppress(adbc.Error):
            _run(dbapi_connection, "ROLLBACK")


def rows_of_prepared(
    connection: sa.PoolProxiedConnection, statement: str, given: Sequence[Any]
) -> list[tuple[Any, ...]]:
    """Rows of a statement, which stays prepared on its connection for the next time.

    Outside a transaction it sees one moment of the file by itself; when all rows are read, it holds
    nothing of the file.
    """
    prepared = connection.info.setdefault("prepared", {})
    cursor = prepared.pop(statement, None) or connection.driver_connection.cursor()  # type: ignore[union-attr]
    try:
        with _damaged_text():
            rows: list[tuple[Any, ...]] = cursor.execute(statement, given).fetchall()
    except BaseException:
        cursor.close()
        raise
    prepared[statement] = cursor  # closing the connection closes it
    return rows


def _run(dbapi_connection: Any, statement: str) -> None:
    with dbapi_connection.cursor() as cursor:
        cursor.execute(statement)


registry.register("sqlite.linedays", __name__, "SQLiteThroughArrow")
