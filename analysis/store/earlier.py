"""What did earlier rows say, that a file about to be stored is compared with?"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.known import in_force_now
from analysis.store.schema import (
    KEYS,
    ROWS,
    file_counts,
    is_connector_change,
    is_unnumbered,
)
from analysis.store.spans import spans_of


def first_rows(connection: sa.Connection, table: str, asked: pa.Table) -> pa.Table:
    """Of the different keys (key, number) asked for that are stored: number and first row.

    Columns `number` and `key_row`, in the order of `key_row`.
    """
    keys = KEYS[table]
    staged = bulk.stage(connection, "asked_keys", asked)
    query = sa.select(staged.c.number, keys.c.key_row)
    query = query.join_from(staged, keys, keys.c.key == staged.c.key)
    return bulk.fetch(connection, query).sort_by("key_row")


def versions_of(
    connection: sa.Connection, table: str, key_rows: pa.ChunkedArray, columns: list[str]
) -> pa.Table:
    """Every stored version of the keys with these first rows: key_row, row and the columns."""
    rows = ROWS[table]
    staged = bulk.stage(connection, "asked_rows", pa.table({"key_row": key_rows}))
    query = sa.select(rows.c.key_row, rows.c.row, *(rows.c[c] for c in columns))
    first = query.join_from(staged, rows, rows.c.row == staged.c.key_row)
    later = query.join_from(staged, rows, rows.c.key_row == staged.c.key_row)
    later = later.where(rows.c.row != rows.c.key_row)
    return pa.concat_tables([bulk.fetch(connection, first), bulk.fetch(connection, later)])


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
        ``key``, ``content``, ``received_at``, ``file`` and, of the home log, ``family_id``; in the
        order in which they were stored.
    """
    further = ["family_id"] if table == "home_log" else []
    columns = ["content", "received_at", "file", *further]
    unique = pc.unique(keys)
    if not _has_rows(connection, ROWS[table], before_file):
        unique = unique.slice(0, 0)
    asked = pa.table({"key": unique, "number": pa.array(np.arange(len(unique)))})
    found = first_rows(connection, table, asked)
    stored = versions_of(connection, table, found["key_row"], columns)
    stored = stored.filter(pc.less(stored["file"], before_file)).sort_by("row")
    at = pc.index_in(stored["key_row"], value_set=found["key_row"].combine_chunks())
    key = asked["key"].take(found["number"].take(at))
    return stored.select(columns).add_column(0, "key", key)


def rows_of_files(
    connection: sa.Connection, table: str, numbers: Sequence[int], columns: Sequence[str]
) -> pa.Table:
    """Every row of a table that some ingests stored.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In the transaction of the file.
    table : str
        Incoming table.
    numbers : sequence of int
        Numbers of the ingests.
    columns : sequence of str
        Stored columns asked for.

    Returns
    -------
    pyarrow.Table
        `row` and the columns, in the order of `row`.
    """
    rows = ROWS[table]
    query = sa.select(rows.c.row, *(rows.c[name] for name in columns))
    found = [
        bulk.fetch(
            connection,
            query.where(rows.c.row > first, rows.c.row <= last, rows.c.file.in_(numbers)),
        )
        for first, last in spans_of(connection, table, numbers)
    ]
    if not found:
        return bulk.fetch(connection, query.where(sa.false()))
    return pa.concat_tables(found).sort_by("row")


def unknown_heads(connection: sa.Connection, table: str) -> list[str]:
    """Heads under which cells of a table were ever kept without being known, each once."""
    query = sa.select(file_counts.c.unknown_heads).distinct()
    query = query.where(file_counts.c.table_name == table, file_counts.c.unknown_heads.is_not(None))
    found = connection.execute(query).scalars().all()
    return sorted({head for text in found for head in json.loads(text)})


def earlier_connector_days(
    connection: sa.Connection, line_ids: pa.Array, first_day: int, last_day: int, before_file: int
) -> pa.Table:
    """Days on which files before this one say a connector of some lines was changed.

    Entries that were corrected or withdrawn since say nothing any more.

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
        ``line_id`` and ``done_on``, one row an entry.
    """
    log = ROWS["home_log"]
    query = sa.select(log.c.line_id, log.c.done_on)
    if not _has_rows(connection, log, before_file):
        return bulk.fetch(connection, query.where(sa.false()))
    found = bulk.fetch(
        connection,
        query.where(
            is_connector_change(log),
            log.c.done_on.between(first_day, last_day),
            log.c.void == 0,
            log.c.file < before_file,
            in_force_now(log),
        ),
    )
    return found.filter(pc.is_in(found["line_id"], pc.unique(line_ids)))


def _has_rows(connection: sa.Connection, rows: sa.Table, before_file: int) -> bool:
    first = connection.execute(sa.select(rows.c.file).order_by(rows.c.row).limit(1)).scalar()
    return first is not None and int(first) < before_file


def entries_like(
    connection: sa.Connection, line_ids: pa.Array, days: pa.Array, before_file: int
) -> pa.Table:
    """Entries in force without a number of their own, of some lines on some days.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In the transaction of the file.
    line_ids, days : pyarrow arrays of text and of days since 1970-01-01, shape (n,)
        Lines and days asked for, pair by pair; repeats allowed.
    before_file : int
        Number of the file about to be stored: only entries of earlier files are listed.

    Returns
    -------
    pyarrow.Table
        ``row``, ``key_row``, ``line_id``, ``done_on``, ``done_at``, ``kind`` and ``content``.
    """
    log = ROWS["home_log"]
    query = sa.select(
        *(log.c[n] for n in ("row", "key_row", "line_id", "done_on", "done_at", "kind", "content"))
    )
    if not _has_rows(connection, log, before_file):
        return bulk.fetch(connection, query.where(sa.false()))
    asked = pa.table({"line_id": line_ids, "done_on": days.cast(pa.int64())})
    asked = asked.group_by(["line_id", "done_on"]).aggregate([])
    staged = bulk.stage(connection, "asked_days", asked)
    same_day = sa.and_(log.c.line_id == staged.c.line_id, log.c.done_on == staged.c.done_on)
    query = query.join_from(staged, log, sa.and_(same_day, is_unnumbered(log)))
    return bulk.fetch(
        connection, query.where(log.c.void == 0, log.c.file < before_file, in_force_now(log))
    )
