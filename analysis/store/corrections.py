"""Which entries without a number look like corrections of earlier ones, and how is one voided?

A source that sends no number with its entries cannot name the one that it corrects. So the
earlier entry stays in force until a person voids it.
"""

from __future__ import annotations

import hashlib
from hashlib import blake2b

import numpy as np
import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.earlier import entries_like
from analysis.store.faults import StoreError
from analysis.store.frames import typed
from analysis.store.known import doubted, in_force_now
from analysis.store.schema import KEYS, ROWS, files, stored_columns
from analysis.store.writing import FileInfo, Writer
from analysis.tables.columns import Frame

LOOKS_LIKE_CORRECTION = "looks_like_correction"
"""The doubt of an entry that may correct another."""
CORRECTIONS = Frame.of(
    "corrections",
    "one row an entry in force that looks like the correction of an earlier one, and that one",
    "row earlier_row line_id done_on",
)
_LOG = "home_log"
_COLUMNS = ["row", "key_row", "line_id", "done_on", "kind", "content"]
_EVERY_FILE = 1 << 62


def pairs(connection: sa.Connection) -> pd.DataFrame:
    """Entries that look like corrections, each with the earlier entries in force like it.

    Columns as in `CORRECTIONS`. An entry whose earlier one was voided is not listed.
    """
    log = ROWS[_LOG]
    looks = log.c.doubts.contains(LOOKS_LIKE_CORRECTION)
    later = doubted(connection, _LOG, _COLUMNS, looks)
    lines, days = (later[name].combine_chunks() for name in ("line_id", "done_on"))
    earlier = entries_like(connection, lines, days, _EVERY_FILE).select(_COLUMNS)
    joined = later.to_pandas().merge(
        earlier.to_pandas(), on=["line_id", "done_on", "kind"], suffixes=("", "_earlier")
    )
    is_earlier = (joined["key_row_earlier"] < joined["key_row"]).to_numpy(dtype=bool)
    differs = (joined["content_earlier"] != joined["content"]).to_numpy(dtype=bool)
    found = joined[is_earlier & differs].rename(columns={"row_earlier": "earlier_row"})
    found = found.sort_values(["row", "earlier_row"], ignore_index=True)
    schema = pa.schema(
        [(c, pa.string() if c == "line_id" else pa.int64()) for c in CORRECTIONS.names]
    )
    table = pa.Table.from_pandas(found[list(CORRECTIONS.names)], schema, preserve_index=False)
    return CORRECTIONS.check(typed(table, CORRECTIONS))


def void(connection: sa.Connection, row: int, by: str, at: int) -> None:
    """Void an entry without a number of its own from `at` on, in microseconds UTC.

    Raises
    ------
    StoreError
        There is none with this number, it has an `entry_id`, or it is not in force.
    """
    entry = _entry(connection, row)
    if entry["void"]:
        raise StoreError(f"The log entry number {row} is no longer in force. Nothing was changed.")
    content = blake2b(entry["content"] + b"\x1fvoided by a person", digest_size=16).digest()
    _add(connection, entry, content, by, at, "voided", void=True)


def restore(connection: sa.Connection, row: int, by: str, at: int) -> None:
    """Undo the voiding of an entry from `at` on, in microseconds UTC.

    Raises
    ------
    StoreError
        There is none with this number, or it was not voided.
    """
    entry = _entry(connection, row)
    if not entry["void"]:
        raise StoreError(f"The log entry number {row} is not voided. Nothing was changed.")
    log = ROWS[_LOG]
    first = sa.select(log.c.content).where(log.c.row == row)
    _add(
        connection,
        entry,
        connection.execute(first).scalar_one(),
        by,
        at,
        "void undone",
        void=False,
    )


def _entry(connection: sa.Connection, row: int) -> sa.RowMapping:
    """The version in force of an entry, with the name of the file that first sent it."""
    log, sent = ROWS[_LOG], ROWS[_LOG].alias("sent")
    key = sa.select(log.c.key_row).where(log.c.row == row, log.c.void == 0).scalar_subquery()
    query = sa.select(*log.c, files.c.name).join_from(log, sent, sent.c.row == log.c.key_row)
    is_later = sa.and_(log.c.row != log.c.key_row, log.c.key_row == key)
    query = query.join(files, files.c.file == sent.c.file).where(
        sa.or_(log.c.row == key, is_later), in_force_now(log)
    )
    entry = connection.execute(query).mappings().first()
    if entry is None:
        raise StoreError(f"There is no log entry number {row}. List them with: linedays doubts")
    if entry["entry_id"] is not None:
        raise StoreError(
            f"The log entry number {row} has an entry_id, so its source can correct it: send a row "
            "with the same entry_id, with void set to yes if it is to be voided."
        )
    return entry


def _add(
    connection: sa.Connection,
    entry: sa.RowMapping,
    content: bytes,
    by: str,
    at: int,
    what: str,
    *,
    void: bool,
) -> None:
    """Store a version of the entry, received after it, as the only row of a file of its own."""
    at = max(at, entry["received_at"] + 1)
    sheet = f" sheet {entry['sheet']}" if entry["sheet"] else ""
    name = f"{entry['name']}{sheet} row {entry['row_number']}, {what}"
    sent = hashlib.sha256(f"{by}\x1f{name}\x1f{entry['row']}\x1f{at}".encode()).hexdigest()
    writer = Writer(connection, FileInfo(name, sent, 0, "", at, at, by))
    keys = KEYS[_LOG]
    key = connection.execute(
        sa.select(keys.c.key).where(keys.c.key_row == entry["key_row"])
    ).scalar_one()
    cells = bulk.fetch(
        connection,
        sa.select(
            *(ROWS[_LOG].c[c.name] for c in stored_columns(_LOG)),
            *(ROWS[_LOG].c[name] for name in ("sheet", "row_number", "extra", "doubts")),
        ).where(ROWS[_LOG].c.row == entry["row"]),
    )
    further = {
        "received_at": pa.array([at]),
        "void": pa.array(np.array([void])),
        "key": pa.array([key], pa.binary(16)),
        "content": pa.array([content], pa.binary(16)),
        "mends": pa.nulls(1, pa.int64()),
    }
    for column, array in further.items():
        cells = cells.append_column(column, array)
    added = writer.add(_LOG, cells)
    writer.count(_LOG, 1, added.stored, added.same_as_before, 0, 0)
