"""Is everything in the store as it was stored, and what is the first difference?

Three copies are compared: the rows themselves, the compressed blocks that repeat them
(`analysis.store.blocks`) and the links that hold their hashes (`analysis.store.chain`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import blocks, chain
from analysis.store.numbers import deletions
from analysis.store.schema import ROWS


@dataclass(frozen=True)
class Verified:
    """What was found of one table."""

    table: str
    rows: int
    links: int
    last_hash: str
    """Hash of the last link, as hexadecimal digits: a note of it kept elsewhere shows whether links
    were written again."""
    deleted: int
    """Rows that were deleted on request."""
    difference: str | None
    """The first difference, as a sentence; None: everything is as it was stored."""


@dataclass(frozen=True)
class Noted:
    """The last hash of a table as somebody noted it earlier."""

    table: str
    last_hash: str
    """As `Verified.last_hash`; blank: nothing was linked yet."""


def compare(connection: sa.Connection, noted: Sequence[Noted]) -> list[str]:
    """What differs from notes of earlier last hashes, each as a sentence.

    A link's hash holds all links before it: where the noted hash is still that of a link, and
    `verify` finds no difference, nothing that was stored before the note has changed.
    """
    found = []
    for note in noted:
        if note.table not in chain.LINKED:
            found.append(f"{note.table} of the note is no table of this store")
        elif note.last_hash:
            hashes = [link.chain.hex() for link in chain.links(connection, note.table)]
            if note.last_hash.lower() not in hashes:
                found.append(
                    f"{note.table} was written again: the hash of the note, "
                    f"{note.last_hash[:12]}…, is no longer there"
                )
    return found


def verify(connection: sa.Connection) -> list[Verified]:
    """Compare the rows of every linked table with its links, and with its blocks if it has any."""
    return [_of(connection, name) for name in chain.LINKED]


def _of(connection: sa.Connection, table: str) -> Verified:
    number = chain.number_of(chain.LINKED[table])
    n_rows = connection.execute(sa.select(sa.func.count(number))).scalar_one()
    links = chain.links(connection, table)
    deleted = sum(deletion.n_rows for deletion in _deletions(connection, table))
    last_hash = links[-1].chain.hex() if links else ""
    difference = differences(connection, table)
    return Verified(table, n_rows, len(links), last_hash, deleted, difference)


def differences(connection: sa.Connection, table: str) -> str | None:
    """The first difference between rows of a linked table, their blocks and links; None: none."""
    number = chain.number_of(chain.LINKED[table])
    last = connection.execute(sa.select(sa.func.max(number))).scalar() or 0
    links = chain.links(connection, table)
    return (
        _broken_link(table, links)
        or _other_number_deleted(connection, table, links)
        or _changed_block(connection, table)
        or _changed_rows(connection, table, links, last)
    )


def _deletions(connection: sa.Connection, table: str) -> Sequence[sa.Row[Any]]:
    own = deletions.c.table_name == table
    return connection.execute(sa.select(deletions).where(own).order_by(deletions.c.row)).all()


def _other_number_deleted(
    connection: sa.Connection, table: str, links: list[chain.Link]
) -> str | None:
    """Whether links from before and after a deletion differ by as many rows as were deleted."""
    for found in _deletions(connection, table):
        before = sum(link.n_rows for link in _in_force(links[: found.first_link - 1]))
        after = sum(link.n_rows for link in _in_force(links[: found.last_link]))
        if before - after != found.n_rows:
            return f"of {table} other rows are gone than those that were deleted on request"
    return None


def _broken_link(table: str, links: list[chain.Link]) -> str | None:
    before = b""
    for expected, link in enumerate(links, 1):
        ends = (link.first_row, link.last_row, link.n_rows)
        made = chain.chained(before, table, ends, link.digest)
        if link.number != expected or link.chain != made:
            return f"link {expected} of {table} is missing or was changed"
        before = link.chain
    return None


def _changed_rows(
    connection: sa.Connection, table: str, links: list[chain.Link], last: int
) -> str | None:
    done = 0
    for link in _in_force(links):
        rows = chain.rows_between(connection, table, done + 1, link.last_row)
        span = f"rows {link.first_row} to {link.last_row} of {table}"
        if rows.num_rows != link.n_rows:
            return f"{span}: {link.n_rows} were stored and {rows.num_rows} are there"
        if chain.digest_of(rows) != link.digest:
            return f"{span} are not as they were stored"
        done = link.last_row
    return f"rows after {done} of {table} were added by another program" if last > done else None


def _in_force(links: list[chain.Link]) -> list[chain.Link]:
    """Links that no later one holds again."""
    kept: list[chain.Link] = []
    for link in links:
        while kept and kept[-1].last_row >= link.first_row:
            kept.pop()
        kept.append(link)
    return kept


def _changed_block(connection: sa.Connection, table: str) -> str | None:
    """The first row that differs from its block."""
    if table not in ROWS:
        return None
    cells = blocks.cells_of(table)
    done = 0
    for first, block in blocks.each(connection, table):
        last = block["row"][-1].as_py()
        rows = chain.rows_between(connection, table, done + 1, last).select(cells.names)
        done = last
        if rows["row"].combine_chunks() != block["row"].combine_chunks():
            return f"rows {first} to {last} of {table} are not those of their block"
        for field in cells:
            other = _first_other(rows[field.name], block[field.name])
            if other is not None:
                return (
                    f"row {rows['row'][other].as_py()} of {table} differs from its block in "
                    f"{field.name}"
                )
    return None


def _first_other(stored: pa.ChunkedArray, block: pa.ChunkedArray) -> int | None:
    left = stored.combine_chunks()
    right = block.cast(left.type).combine_chunks()
    if left.equals(right):
        return None
    same = pc.fill_null(pc.equal(left, right), False)
    both_blank = pc.and_(pc.is_null(left), pc.is_null(right))
    return int(pc.index(pc.or_(same, both_blank), False).as_py())
