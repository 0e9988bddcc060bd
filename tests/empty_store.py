"""A store that many tests begin with is made once and then copied for each of them."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import psycopg
import sqlalchemy as sa

from analysis.store import Store, migrate
from analysis.store.database import Database

_by_migrations = migrate.upgrade
EMPTY = "empty_store"
"""PostgreSQL: the database that others are copied from."""


def copied_from(template: Path):
    """What the tests use in place of the migrations; `test_store_opening` looks at these."""
    servers: set[str] = set()
    one_by_one = threading.Lock()

    def upgrade(database: Database, revision: str = migrate.NEWEST) -> None:
        with one_by_one:
            if revision != migrate.NEWEST or not _is_empty(database):
                _by_migrations(database, revision)
            elif database.is_sqlite:
                if not template.exists():
                    _by_migrations(database)
                    _copy(database.place, template)
                else:
                    _copy(template, database.place)
            else:
                _on_server(database, servers)

    return upgrade


def made_once(store: Store, kept: Path, make: Callable[[], None]) -> None:
    """Fill an empty store: the first time by `make`, later from what is kept of that in a file."""
    if not store._database.is_sqlite:
        make()
    elif kept.exists():
        _copy(kept, store._database.place)
    else:
        make()
        _copy(store._database.place, kept)


def folder_made_once(folder: Path, kept: Path, fill: Callable[[], None]) -> None:
    """Fill a folder: the first time by `fill`, later from what is kept of that."""
    if kept.exists():
        shutil.copytree(kept, folder, dirs_exist_ok=True)
    else:
        fill()
        shutil.copytree(folder, kept)


def _is_empty(database: Database) -> bool:
    if database.is_sqlite:
        if not Path(database.place).is_file():
            return False
        with closing(sqlite3.connect(database.place)) as connection:
            return not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    with database.reading() as connection:
        return not sa.inspect(connection).get_table_names()


def _copy(source: str | Path, target: str | Path) -> None:
    with closing(sqlite3.connect(source)) as read, closing(sqlite3.connect(target)) as written:
        read.backup(written)


def _on_server(database: Database, servers: set[str]) -> None:
    url = database.engine.url
    host = str(url.query.get("host", url.host))
    if host not in servers:
        _by_migrations(database)
        statements = [f"CREATE DATABASE {EMPTY} TEMPLATE {url.database}"]
        servers.add(host)
    else:
        statements = [
            f"DROP DATABASE {url.database} WITH (FORCE)",
            f"CREATE DATABASE {url.database} TEMPLATE {EMPTY}",
        ]
    database.let_go()
    with psycopg.connect(host=host, user="linedays", dbname="postgres", autocommit=True) as server:
        for statement in statements:
            server.execute(statement)  # type: ignore[call-overload]
