"""Which stored rows are those of an ingest?

The rows of an ingest follow, in their table, those of the ingest before it that held the table.
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa

from analysis.store.schema import ROWS, file_counts, files


def latest_receipt(connection: sa.Connection, numbers: Sequence[int]) -> int | None:
    """Latest receipt of all rows that some ingests stored, microseconds UTC; None: no row."""
    found: list[int] = []
    for table, rows in ROWS.items():
        newest = sa.select(sa.func.max(rows.c.received_at))
        for first, last in spans_of(connection, table, numbers):
            own = sa.and_(rows.c.row > first, rows.c.row <= last, rows.c.file.in_(numbers))
            latest = connection.execute(newest.where(own)).scalar()
            found += [] if latest is None else [int(latest)]
    return max(found, default=None)


def history_spans(connection: sa.Connection) -> dict[str, tuple[tuple[int, int], ...]]:
    """Rows of ingests that loaded history, by table; tables without any are left out.

    Each span is the row number before its first row, and that of its last.
    """
    query = sa.select(files.c.file).where(files.c.history == 1)
    numbers = connection.execute(query).scalars().all()
    if not numbers:
        return {}
    spans = {table: tuple(spans_of(connection, table, numbers)) for table in ROWS}
    return {table: found for table, found in spans.items() if found}


def spans_of(
    connection: sa.Connection, table: str, numbers: Sequence[int]
) -> list[tuple[int, int]]:
    """Row number before the first, and last row number, of each ingest that stored rows.

    The rows of an ingest follow those of the one before it that held the table.
    """
    counts = file_counts.alias()
    before = sa.select(sa.func.max(counts.c.last_row))
    before = before.where(counts.c.table_name == table, counts.c.file < file_counts.c.file)
    spans = sa.select(sa.func.coalesce(before.scalar_subquery(), 0), file_counts.c.last_row).where(
        file_counts.c.table_name == table, file_counts.c.file.in_(numbers)
    )
    return [(first, last) for first, last in connection.execute(spans).all() if first < last]
