"""Which steps do migrations share?"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import sqlite

WHOLE = sa.BigInteger().with_variant(sqlite.INTEGER(), "sqlite")
"""Whole numbers, dates, moments and flags."""


def add_column(table: str, name: str, kind: sa.types.TypeEngine[Any]) -> None:
    """Add a column that is blank in the rows that are there: ``sa.Text()`` or `WHOLE`."""
    connection = op.get_bind()
    words = kind.compile(dialect=connection.dialect)
    # Closed here: the driver takes what changes a table for a question with an answer to fetch.
    connection.exec_driver_sql(f"ALTER TABLE {table} ADD COLUMN {name} {words}").close()


def rows_only_added(table: str, message: str, may_change: Collection[str] = ()) -> None:
    """Make triggers that refuse to change or delete a row of the table.

    A later migration that has to change rows removes them first and makes them again.
    `may_change`: columns that may be set again.
    """
    connection = op.get_bind()
    fixed = [c["name"] for c in sa.inspect(connection).get_columns(table)]
    fixed = [f'"{name}"' for name in fixed if name not in may_change]
    update = f"UPDATE OF {', '.join(fixed)}" if may_change else "UPDATE"
    if connection.dialect.name == "sqlite":
        for act, when in (("update", update), ("delete", "DELETE")):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act} BEFORE {when} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_only_added() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{message}'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_stay BEFORE {update} OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_only_added()"
    )


def not_replaced(table: str, unique: Collection[str], message: str) -> None:
    """Refuse INSERT OR REPLACE, which deletes a row in SQLite without asking a trigger.

    `unique`: columns, joined by a space, of which no two rows have the same values.
    """
    if op.get_bind().dialect.name != "sqlite":
        return  # there ON CONFLICT DO UPDATE is an update
    for number, columns in enumerate(unique, 1):
        same = " AND ".join(f"{column} = NEW.{column}" for column in columns.split())
        taken = f"SELECT 1 FROM {table} WHERE {same}"  # noqa: S608 - names of the migrations
        op.execute(
            f"CREATE TRIGGER {table}_not_replaced_{number} BEFORE INSERT ON {table} "
            f"WHEN EXISTS ({taken}) BEGIN SELECT RAISE(ABORT, '{message}'); END"
        )
