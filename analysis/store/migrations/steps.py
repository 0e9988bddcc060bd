"""Which steps do migrations share?"""

from __future__ import annotations

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


def rows_only_added(table: str, message: str) -> None:
    """Make triggers that refuse to change or delete a row of the table."""
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_only_added() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{message}'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_stay BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_only_added()"
    )
