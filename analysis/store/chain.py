"""Are rows that are only ever added still as they were added?

Every transaction that adds rows of a table leaves a link: the hash of these rows, and a hash of it
and of the link before. Who changes, removes or inserts a stored row later would have to write every
link after it again, and then the last hash of the table is another one (`analysis.store.verify`).
A correction of receipts or a new time zone changes stored rows: then one link holds all of them.

Each table has its own links, because acts and files are added by different writers at a time.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.deleted import deleted_codes
from analysis.store.numbers import deletions
from analysis.store.schema import (
    BYTES,
    ROWS,
    TEXT,
    WHOLE,
    accesses,
    arrangements,
    files,
    metadata,
    policies,
    rate_notes,
    refused,
    signal_acts,
    source_profiles,
    training_sessions,
)

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

chain = sa.Table(
    "chain",
    metadata,
    sa.Column("table_name", TEXT, primary_key=True),
    sa.Column("link", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("first_row", WHOLE, nullable=False),
    sa.Column("last_row", WHOLE, nullable=False),
    sa.Column("n_rows", WHOLE, nullable=False),
    sa.Column("digest", BYTES, nullable=False),
    sa.Column("chain", BYTES, nullable=False),
    sqlite_strict=True,
)
"""One row a link: the hash of rows that were added together, and the hash of it and of the link
before."""

LINKED: dict[str, sa.Table] = {
    **ROWS,
    **{
        table.name: table
        for table in (
            files,
            refused,
            arrangements,
            rate_notes,
            signal_acts,
            policies,
            source_profiles,
            training_sessions,
            accesses,
            deletions,
            deleted_codes,
        )
    },
}
"""Tables whose rows are linked; each is numbered by its first column."""

MOST_ROWS = 262_144
"""Rows of a link at most: what is in memory at once."""


@dataclass(frozen=True)
class Link:
    """What is stored of rows that were added together."""

    number: int
    first_row: int
    last_row: int
    n_rows: int
    digest: bytes
    chain: bytes


def add(connection: sa.Connection, table: str, rows: pa.Table) -> None:
    """Link rows just added, in the order of their number."""
    if rows.num_rows:
        _link(connection, table, rows, _last(connection, table))


def catch_up(connection: sa.Connection) -> None:
    """Link the rows that are in no link yet, of every table."""
    for name, last, linked in connection.exec_driver_sql(_ends_of_all(connection.dialect)).all():
        if last is not None and last > (linked or 0):
            _link_from(connection, name, (linked or 0) + 1, last)


@lru_cache(maxsize=8)
def _ends_of_all(dialect: sa.Dialect) -> str:
    """Asks each table for its last row and for the last row in a link; every act asks it."""
    ends = [
        sa.select(
            sa.literal(str(name), sa.Text()).label("name"),
            sa.select(sa.func.max(number_of(table))).scalar_subquery().label("last"),
            sa.select(chain.c.last_row)
            .where(chain.c.table_name == sa.literal(str(name), sa.Text()))
            .order_by(chain.c.link.desc())
            .limit(1)
            .scalar_subquery()
            .label("linked"),
        )
        for name, table in LINKED.items()
    ]
    query = sa.union_all(*ends)
    return str(query.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))


def link_again(connection: sa.Connection, table: str) -> None:
    """Link all rows of a table again, after stored rows were changed by rule."""
    last = connection.execute(sa.select(sa.func.max(number_of(LINKED[table])))).scalar() or 0
    _link_from(connection, table, 1, last)


def link_remaining(connection: sa.Connection, table: str, last: int) -> tuple[int, int]:
    """Link what is left of a table after rows were deleted; the numbers of the first and last link.

    These links hold all numbers up to `last`, the highest until then, whether their rows are left or
    not.
    """
    before = _last(connection, table)
    for start in range(1, last + 1, MOST_ROWS):
        end = min(start + MOST_ROWS - 1, last)
        rows = rows_between(connection, table, start, end)
        _write(connection, table, (start, end, rows.num_rows), rows, _last(connection, table))
    return before[0] + 1, _last(connection, table)[0]


def links(connection: sa.Connection, table: str) -> list[Link]:
    """The links of a table, the first one first."""
    query = sa.select(chain).where(chain.c.table_name == table).order_by(chain.c.link)
    return [
        Link(row.link, row.first_row, row.last_row, row.n_rows, bytes(row.digest), bytes(row.chain))
        for row in connection.execute(query)
    ]


def ends(connection: sa.Connection) -> dict[str, tuple[int, int, bytes]]:
    """Number, last row and hash of the last link of each table that has one."""
    newest = sa.select(chain.c.table_name, sa.func.max(chain.c.link)).group_by(chain.c.table_name)
    query = sa.select(chain).where(sa.tuple_(chain.c.table_name, chain.c.link).in_(newest))
    found = connection.execute(query)
    return {row.table_name: (row.link, row.last_row, bytes(row.chain)) for row in found}


def only_added_to(connection: sa.Connection, table: str, end: tuple[int, int, bytes]) -> bool:
    """Whether a link that was the last of a table is there, and links since are of rows added since.

    Rows that were changed or deleted by rule are linked again from the first one on.
    """
    number, last_row, digest = end
    query = sa.select(chain.c.link, chain.c.first_row, chain.c.chain).where(
        chain.c.table_name == table, chain.c.link >= number
    )
    found = connection.execute(query.order_by(chain.c.link)).all()
    if not found or (found[0].link, bytes(found[0].chain)) != (number, digest):
        return False
    return all(link.first_row > last_row for link in found[1:])


def rows_between(connection: sa.Connection, table: str, first: int, last: int) -> pa.Table:
    """Stored rows of a table by their number, in its order."""
    number = number_of(LINKED[table])
    query = sa.select(*LINKED[table].c).where(number >= first, number <= last)
    return bulk.fetch(connection, query).sort_by(number.name)


def number_of(table: sa.Table) -> sa.Column[int]:
    """The column that numbers the rows of a table."""
    return next(iter(table.c))


def digest_of(rows: pa.Table) -> bytes:
    """Hash of all cells of rows; a column that is blank in all of them is passed by.

    So the hash stays when a later version of the program adds a column.
    """
    digest = hashlib.sha256()
    for name in sorted(rows.column_names):
        cells = rows[name]
        if cells.null_count == len(cells):
            continue
        digest.update(f"{name}:{len(cells)};".encode())
        digest.update(np.packbits(np.asarray(pc.is_null(cells))).tobytes())
        if pa.types.is_integer(cells.type) or pa.types.is_boolean(cells.type):
            digest.update(np.asarray(pc.fill_null(cells.cast(pa.int64()), 0)).data)
            continue
        parts = [_lengths_and_bytes(part) for part in cells.cast(pa.large_binary()).chunks]
        for at in (0, 1):
            for part in parts:
                digest.update(part[at].data)
    return digest.digest()


def chained(before: bytes, table: str, link: tuple[int, int, int], digest: bytes) -> bytes:
    """Hash of a link and of the one before it; `link`: first row, last row, number of rows."""
    words = f"{table}:{':'.join(map(str, link))};".encode()
    return hashlib.sha256(before + words + digest).digest()


def _lengths_and_bytes(cells: pa.Array) -> tuple[Ints, Bytes]:
    """Length of each text, 0 where it is blank, and the bytes of all of them."""
    _, offsets, data = cells.buffers()
    ends = np.frombuffer(offsets, np.int64)[cells.offset : cells.offset + len(cells) + 1]
    lengths = np.diff(ends)
    if cells.null_count and lengths[np.asarray(cells.is_null())].any():
        return _lengths_and_bytes(pc.fill_null(cells, b""))
    every = np.frombuffer(data or b"", np.uint8)
    return lengths, every[ends[0] : ends[-1]]


def _last(connection: sa.Connection, table: str) -> tuple[int, bytes]:
    query = sa.select(chain.c.link, chain.c.chain).where(chain.c.table_name == table)
    found = connection.execute(query.order_by(chain.c.link.desc()).limit(1)).first()
    return (0, b"") if found is None else (found.link, bytes(found.chain))


def _link_from(connection: sa.Connection, table: str, first: int, last: int) -> None:
    for start in range(first, last + 1, MOST_ROWS):
        add(connection, table, rows_between(connection, table, start, start + MOST_ROWS - 1))


def _link(connection: sa.Connection, table: str, rows: pa.Table, last: tuple[int, bytes]) -> None:
    number = rows[number_of(LINKED[table]).name]
    _write(connection, table, (number[0].as_py(), number[-1].as_py(), rows.num_rows), rows, last)


def _write(
    connection: sa.Connection,
    table: str,
    ends: tuple[int, int, int],
    rows: pa.Table,
    last: tuple[int, bytes],
) -> None:
    digest = digest_of(rows)
    connection.execute(
        sa.insert(chain).values(
            table_name=table,
            link=last[0] + 1,
            first_row=ends[0],
            last_row=ends[1],
            n_rows=ends[2],
            digest=digest,
            chain=chained(last[1], table, ends, digest),
        )
    )
