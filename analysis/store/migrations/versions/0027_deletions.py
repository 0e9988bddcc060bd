"""Rows that were deleted on request: how many, their hash, and the hashes of the codes they had."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, not_replaced, rows_only_added

revision = "0027"
down_revision = "0026"


def upgrade() -> None:
    """Make the tables and their triggers."""
    text: sa.types.TypeEngine[Any] = sa.Text()
    data: sa.types.TypeEngine[Any] = sa.LargeBinary()
    ends: dict[str, sa.types.TypeEngine[Any]] = dict.fromkeys(
        ("last_row", "first_link", "last_link", "made_at"), WHOLE
    )
    tables: dict[str, dict[str, sa.types.TypeEngine[Any]]] = {
        "deletions": {"table_name": text, "n_rows": WHOLE, "digest": data, **ends},
        "deleted_codes": {"kind": text, "salt": data, "hash": data},
    }
    for table, columns in tables.items():
        op.create_table(
            table,
            sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
            *(sa.Column(name, kind, nullable=False) for name, kind in columns.items()),
            sqlite_strict=True,
        )
        message = f"rows of {table} are only ever added"
        rows_only_added(table, message)
        not_replaced(table, ("row",), message)
