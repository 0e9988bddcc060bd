"""Which number has the next row of a table?"""

from __future__ import annotations

import sqlalchemy as sa

from analysis.store.schema import BYTES, ROWS, TEXT, WHOLE, arrangements, metadata, refused

deletions = sa.Table(
    "deletions",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("table_name", TEXT, nullable=False),
    sa.Column("n_rows", WHOLE, nullable=False),
    sa.Column("digest", BYTES, nullable=False),
    sa.Column("last_row", WHOLE, nullable=False),
    sa.Column("first_link", WHOLE, nullable=False),
    sa.Column("last_link", WHOLE, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sqlite_strict=True,
)
"""One row a table of which rows were deleted on one request, or changed to name a family no more
(then `n_rows` is 0): the hash of these rows as they were, the highest number of a row until then, and
the links that hold what stayed."""


MAY_LOSE_ROWS = frozenset({*ROWS, refused.name, arrangements.name})
"""Tables of which rows are deleted with a family."""


def next_number(connection: sa.Connection, column: sa.Column[int]) -> int:
    """The number after the highest in a column of numbers, from 1.

    The number of a deleted row is never used again: what refers to it must not lead to another row.
    """
    highest = sa.func.max(column)
    query = sa.select(highest)
    if column.table.name in MAY_LOSE_ROWS:
        deleted = sa.select(sa.func.max(deletions.c.last_row)).where(
            deletions.c.table_name == column.table.name
        )
        query = sa.select(highest, deleted.scalar_subquery())
    return max(int(number or 0) for number in connection.execute(query).one()) + 1
