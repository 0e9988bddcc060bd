"""What was written in the cells of a file that were read as something else?

Column by column and compressed, a run of rows at a time: most cells of a sheet repeat each other,
and few are ever opened.
"""

from __future__ import annotations

from collections.abc import Mapping

import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import blocks
from analysis.store.numbers import next_number
from analysis.store.schema import BYTES, TEXT, WHOLE, file_counts, metadata

originals = sa.Table(
    "originals",
    metadata,
    sa.Column("block", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("file", WHOLE, nullable=False, index=True),
    sa.Column("table_name", TEXT, nullable=False),
    sa.Column("sheet", TEXT),
    sa.Column("first_row", WHOLE, nullable=False),
    sa.Column("last_row", WHOLE, nullable=False),
    sa.Column("packed", BYTES, nullable=False),
    sqlite_strict=True,
)
"""One row a run of rows of a file's sheet."""

Cells = Mapping[str, tuple[tuple[str, str], ...]]
"""By our column: the file's head and what is written below it, once for each column of the file."""


def add(
    connection: sa.Connection, file: int, table: str, sheet: str | None, rows: pa.Table
) -> None:
    """Add original cells of a file; `rows` as from `analysis.ingest.originals`."""
    numbers = pc.min_max(rows["row_number"]).as_py()
    connection.execute(
        sa.insert(originals).values(
            block=next_number(connection, originals.c.block),
            file=file,
            table_name=table,
            sheet=sheet,
            first_row=numbers["min"],
            last_row=numbers["max"],
            packed=blocks.packed(rows),
        )
    )


def of_row(
    connection: sa.Connection, file: int, table: str, sheet: str | None, row_number: int
) -> Cells | None:
    """The original cells of a row; None: those of its file were not stored."""
    counted = sa.select(file_counts.c.originals).where(
        file_counts.c.file == file, file_counts.c.table_name == table
    )
    if not connection.execute(counted).scalar():
        return None
    query = sa.select(originals.c.packed).where(
        originals.c.file == file,
        originals.c.table_name == table,
        originals.c.sheet.is_not_distinct_from(sheet),
        originals.c.first_row <= row_number,
        originals.c.last_row >= row_number,
    )
    found: dict[str, list[tuple[str, str]]] = {}
    for packed in connection.scalars(query).all():
        rows = blocks.unpacked(packed)
        for row in rows.filter(pc.equal(rows["row_number"], row_number)).to_pylist():
            for name, cell in row.items():
                column, _, head = name.partition("\n")
                if head and cell is not None:
                    found.setdefault(column, []).append((head, cell))
    return {column: tuple(cells) for column, cells in found.items()}
