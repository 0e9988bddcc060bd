"""What did earlier files bring, that a file about to be stored is compared with?"""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.schema import KEYS, ROWS
from analysis.vocabulary import EntryKind


def earlier_versions(
    connection: sa.Connection, table: str, keys: pa.Array, before_file: int
) -> pa.Table:
    """Stored versions of some keys that files before this one brought.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In the transaction of the file.
    table : str
        Incoming table.
    keys : pyarrow array of 16 bytes, repeats allowed
        Keys asked for.
    before_file : int
        Number of the file about to be stored.

    Returns
    -------
    pyarrow.Table
        ``key``, ``content``, ``received_at`` and, of the home log, ``family_id``; in the order in
        which they were stored.
    """
    rows, table_keys = ROWS[table], KEYS[table]
    further = [rows.c.family_id] if table == "home_log" else []
    wanted = [table_keys.c.key, rows.c.content, rows.c.received_at, *further]
    if not _has_rows(connection, rows, before_file):
        return _nothing(wanted)
    staged = bulk.stage(
        connection, "asked_versions", pa.table({"key": pc.unique(keys).cast(pa.binary())})
    )
    asked = sa.select(*wanted, rows.c.row).select_from(
        staged.join(table_keys, table_keys.c.key == staged.c.key)
    )
    parts = [
        bulk.fetch(connection, query.where(rows.c.file < before_file))
        for query in (
            asked.join(rows, rows.c.row == table_keys.c.key_row),
            asked.join(rows, rows.c.key_row == table_keys.c.key_row).where(
                rows.c.row != rows.c.key_row
            ),
        )
    ]
    return pa.concat_tables(parts).sort_by("row").drop_columns(["row"])


def earlier_connector_days(
    connection: sa.Connection,
    line_ids: pa.Array,
    first_day: int,
    last_day: int,
    before_file: int,
) -> pa.Table:
    """Days on which files before this one say a connector of some lines was changed.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In the transaction of the file.
    line_ids : pyarrow array of text
        Lines asked for.
    first_day, last_day : int
        Days since 1970-01-01, both ends included.
    before_file : int
        Number of the file about to be stored.

    Returns
    -------
    pyarrow.Table
        ``line_id`` and ``done_on``, each pair once.
    """
    log = ROWS["home_log"]
    wanted = [log.c.line_id, log.c.done_on]
    if not _has_rows(connection, log, before_file):
        return _nothing(wanted)
    found = bulk.fetch(
        connection,
        sa.select(*wanted)
        .where(
            log.c.kind == str(EntryKind.CONNECTOR_CHANGE),
            log.c.done_on.between(first_day, last_day),
            log.c.void == 0,
            log.c.file < before_file,
        )
        .distinct(),
    )
    return found.filter(pc.is_in(found["line_id"], line_ids))


def _has_rows(connection: sa.Connection, rows: sa.Table, before_file: int) -> bool:
    first = connection.execute(sa.select(rows.c.file).order_by(rows.c.row).limit(1)).scalar()
    return first is not None and int(first) < before_file


def _nothing(columns: list[sa.Column[object]]) -> pa.Table:
    kinds = {
        c.name: pa.binary()
        if isinstance(c.type, sa.LargeBinary)
        else (pa.int64() if isinstance(c.type, sa.Integer) else pa.string())
        for c in columns
    }
    return pa.schema(kinds).empty_table()
