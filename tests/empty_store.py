"""An empty store on SQLite, made once by the migrations and then copied for each test."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from analysis.store import migrate
from analysis.store.database import Database

_by_migrations = migrate.upgrade


def copied_from(template: Path):
    """What the tests use in place of the migrations; `test_store_opening` looks at these."""

    def upgrade(database: Database, revision: str = migrate.NEWEST) -> None:
        if revision != migrate.NEWEST or not _is_empty_file(database.place):
            _by_migrations(database, revision)
        elif not template.exists():
            _by_migrations(database, revision)
            _copy(database.place, template)
        else:
            _copy(template, database.place)

    return upgrade


def _is_empty_file(place: str | Path) -> bool:
    if not Path(place).is_file():
        return False
    with closing(sqlite3.connect(place)) as connection:
        return not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]


def _copy(source: str | Path, target: str | Path) -> None:
    with closing(sqlite3.connect(source)) as read, closing(sqlite3.connect(target)) as written:
        read.backup(written)
