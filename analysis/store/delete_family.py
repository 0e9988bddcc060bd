"""How is a family deleted on request, so that nothing of it is left in the store?

What stays is what a programme has to be able to prove: in the access log the family's code with who
viewed it and who had it deleted, of each table the number of deleted rows with their hash, and hashes
of the codes, by which a file that brings the family again is recognised (`analysis.store.deleted`).
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass

import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import blocks, bulk, deleting
from analysis.store.database import Database
from analysis.store.deleted import DeletedFamilies, remember
from analysis.store.family_rows import FamilyRows, family_rows
from analysis.store.faults import StoreError
from analysis.store.originals import originals
from analysis.store.schema import ROWS, refused, refused_resolved
from analysis.store.visits import visits


@dataclass(frozen=True)
class Deleted:
    """What a deletion did."""

    rows: dict[str, int]
    """Deleted rows by table; tables without any are left out."""
    changed: int
    """Rows of staff that no longer name the family."""
    sites: frozenset[str]
    """All sites that ever followed it."""


def found(connection: sa.Connection, family_id: str, *, shared: bool) -> Deleted:
    """What a deletion would do."""
    return _summary(family_rows(connection, family_id, shared=shared))


def delete(connection: sa.Connection, family_id: str, at: int, *, shared: bool) -> Deleted:
    """Delete a family, all of it or nothing; see `family_rows.family_rows`.

    Raises
    ------
    StoreError
        There is no such family, it shares children or lines with another one, or the store is not
        as it was stored.
    """
    chosen = family_rows(connection, family_id, shared=shared)
    for table, numbers in chosen.deleted.items():
        if table == refused.name and numbers:
            gone = refused_resolved.c.refused_row.in_(numbers)
            deleting.unlinked_rows(connection, refused_resolved, gone)
        deleting.delete(connection, table, sorted(numbers), at)
    for table, cells in chosen.changed.items():
        deleting.change(connection, table, cells, at)
    _originals(connection)
    # What was seen names families in packed text; the next visit starts again.
    connection.execute(
        sa.update(visits).values(seen_at=None, seen=None, before_at=None, before=None)
    )
    for code in (code for some in chosen.codes.values() for code in some):
        connection.execute(
            sa.update(visits)
            .where(visits.c.choice.contains(code, autoescape=True))
            .values(choice=None)
        )
    remember(connection, chosen.codes)
    return _summary(chosen)


def forget_saved(database: Database) -> None:
    """Delete what was calculated of the rows before, so that nothing of a deleted family is in it.

    Raises
    ------
    StoreError
        It cannot be deleted.
    """
    folder = database.saved_folder
    if folder is None or not folder.exists():
        return
    try:
        shutil.rmtree(folder)
    except OSError:
        raise StoreError(
            f"The family is not deleted: the folder {folder}, which also has its rows, can't be "
            "deleted. Delete that folder, then try again."
        ) from None


def _summary(chosen: FamilyRows) -> Deleted:
    rows = {table: len(numbers) for table, numbers in chosen.deleted.items() if numbers}
    return Deleted(rows, sum(map(len, chosen.changed.values())), chosen.sites)


def _originals(connection: sa.Connection) -> None:
    """Keep only original cells whose row is stored: of others nobody knows whose they are."""
    for block in connection.scalars(sa.select(originals.c.block)).all():
        own = originals.c.block == block
        about = connection.execute(sa.select(originals).where(own)).mappings().one()
        rows = ROWS[about["table_name"]]
        stored = sa.select(rows.c.row_number).where(
            rows.c.file == about["file"], rows.c.sheet.is_not_distinct_from(about["sheet"])
        )
        cells = blocks.unpacked(about["packed"])
        there = bulk.fetch(connection, stored)["row_number"].combine_chunks()
        kept = pc.is_in(cells["row_number"], value_set=there.cast(cells["row_number"].type))
        if pc.all(kept).as_py():
            continue
        left = cells.filter(kept)
        connection.execute(
            sa.update(originals).where(own).values(packed=blocks.packed(left))
            if left.num_rows
            else sa.delete(originals).where(own)
        )


def was_deleted(connection: sa.Connection, family_id: str) -> bool:
    """Whether a family of this code was deleted before."""
    return DeletedFamilies(connection).family(family_id)


def clean(database: Database) -> bool:
    """Take what was deleted out of the database's files; returns whether all of it is out.

    On a file: rewritten whole, and its write-ahead log emptied. On a server: tables rewritten; its own
    write-ahead log and archives are the server's.
    """
    with database.engine.connect().execution_options(
        **({} if database.is_sqlite else {"isolation_level": "AUTOCOMMIT"})
    ) as connection:
        if not database.is_sqlite:
            connection.exec_driver_sql("VACUUM FULL").close()
            return True
        connection.exec_driver_sql("VACUUM").close()
        busy, *_ = connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").one()
        return not busy
