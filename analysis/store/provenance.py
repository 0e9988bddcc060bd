"""Where does a row come from, what was odd about it, and what could not be used?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk, originals
from analysis.store.corrections import LOOKS_LIKE_CORRECTION, pairs
from analysis.store.database import Database, rows_of
from analysis.store.frames import typed
from analysis.store.known import doubted
from analysis.store.refusals import is_open, was_open
from analysis.store.schema import PAGE, ROWS, WHOLE, file_counts, files, refused, stored_columns
from analysis.store.spans import latest_receipt
from analysis.tables.columns import Frame
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind

MOST_AT_ONCE = 512
"""Rows that one query asks for by their numbers."""


@dataclass(frozen=True)
class SourceRow:
    """A stored row as a person can find it again in the file it came from.

    `received_at` is an aware UTC moment. `content` holds the cells that were filled, as text
    (dates ISO, moments UTC), and the file's own further columns; `doubts` are codes.
    """

    table: str
    row: int
    file: str
    sheet: str | None
    row_number: int
    received_at: datetime
    content: dict[str, str]
    doubts: tuple[str, ...]
    originals: originals.Cells | None = None
    """What was written in cells that were read as something else; None: it was not stored."""


@dataclass(frozen=True)
class TableCount:
    """What became of a file's rows of one table."""

    table: str
    read: int
    stored: int
    same_as_before: int
    refused: int
    doubts: int
    reading: str | None = None


@dataclass(frozen=True)
class FileBefore:
    """The earlier ingest of an unchanged file; instants are microseconds UTC.

    `received_at` is that of the first ingest of these bytes, `files` are the numbers of all ingests
    of them, `latest_receipt` is that of the rows they stored, the rest is that of the newest.
    """

    name: str
    source: str
    received_at: int
    ingested_at: int
    counts: tuple[TableCount, ...]
    files: tuple[int, ...]
    latest_receipt: int
    history: bool


REFUSED = Frame.of(
    "refused",
    "one row a row that could not be used and was not corrected yet",
    """refused_row ingest source file table sheet row_number received_at column value reason row
    further""",
    key="refused_row",
    blank={
        "sheet": "not a workbook",
        "column": "the row as a whole",
        "value": "nothing",
        "further": "nothing",
    },
    detail={"ingest": "that refused it"},
)

DOUBTS = Frame.of(
    "doubts",
    "one row a doubt about a row in force",
    "row file table sheet row_number received_at doubt",
    blank={"sheet": "not a workbook"},
)

INGESTS = Frame.of(
    "ingests",
    "one row an ingest of a file and a table in it",
    """ingest file source sha256 size received_at ingested_at brought_by table read stored
    same_as_before refused doubts last_row""",
    blank={
        "brought_by": "command line",
        "table": "the file held no table",
        "read stored same_as_before refused doubts last_row": "not recorded",
    },
    detail={"received_at": "given to rows that do not say so themselves"},
)


def file_before(connection: sa.Connection, sha256: str, name: str) -> FileBefore | None:
    """Return the earlier ingest of a file that has not changed since.

    Unchanged: the newest ingest of a file of that name had these bytes. A file that went back
    to the bytes of an older ingest has changed and has to be read.
    """
    of_name = sa.select(files).where(files.c.name == name)
    newest = connection.execute(of_name.order_by(files.c.file.desc()).limit(1)).mappings().first()
    if newest is None or newest["sha256"] != sha256:
        return None
    same = of_name.where(files.c.sha256 == sha256).order_by(files.c.file)
    every = connection.execute(same).mappings().all()
    numbers = tuple(each["file"] for each in every)
    query_counts = sa.select(file_counts).where(file_counts.c.file == newest["file"])
    counts = connection.execute(query_counts).mappings().all()
    return FileBefore(
        name,
        newest["source"],
        every[0]["received_at"],
        newest["ingested_at"],
        tuple(
            TableCount(
                c["table_name"],
                c["read"],
                c["stored"],
                c["same_as_before"],
                c["refused"],
                c["doubts"],
                c["reading"],
            )
            for c in counts
        ),
        numbers,
        max(every[0]["received_at"], latest_receipt(connection, numbers) or 0),
        any(each["history"] for each in every),
    )


def source_rows(
    asked: sa.Connection | Database, table: str, rows: Sequence[int]
) -> list[SourceRow]:
    """Return stored rows with their file, sheet, row and content, in the order asked for."""
    numbers = sorted({int(row) for row in rows})
    cells: list[dict[str, Any]] = []
    for start in range(0, len(numbers), MOST_AT_ONCE):
        some = numbers[start : start + MOST_AT_ONCE]
        places = 1 << (len(some) - 1).bit_length()  # few queries, each put together once
        given = {f"row{at}": some[min(at, len(some) - 1)] for at in range(places)}
        cells += [row._asdict() for row in rows_of(asked, _by_numbers(table, places), given)]
    written = _as_written(asked, table, [each for each in cells if each["file_source"]])
    found = {
        each["row"]: replace(_source_row(table, each), originals=written.get(each["row"], {}))
        for each in cells
    }
    return [found[int(row)] for row in rows if int(row) in found]


@cache
def _by_numbers(table: str, places: int) -> sa.Select[Any]:
    stored = ROWS[table]
    numbers = [sa.bindparam(f"row{at}", type_=WHOLE) for at in range(places)]
    return (
        sa.select(*stored.c, files.c.name.label("file_name"), files.c.source.label("file_source"))
        .join_from(stored, files, files.c.file == stored.c.file)
        .where(stored.c.row.in_(numbers))
    )


def _as_written(
    asked: sa.Connection | Database, table: str, rows: list[dict[str, Any]]
) -> dict[int, originals.Cells | None]:
    """Original cells of rows, by number; those of our own form are stored as they were written."""
    if not rows:
        return {}
    with asked.reading() if isinstance(asked, Database) else nullcontext(asked) as connection:
        return {
            row["row"]: originals.of_row(
                connection, row["file"], table, row["sheet"], row["row_number"]
            )
            for row in rows
        }


def versions_of_row(connection: sa.Connection, table: str, row: int) -> list[SourceRow]:
    """Every version of the key that a stored row is of, in the order of receipt."""
    stored = ROWS[table]
    key = sa.select(stored.c.key_row).where(stored.c.row == row).scalar_subquery()
    first = connection.execute(sa.select(stored.c.row).where(stored.c.row == key)).scalars()
    is_later = sa.and_(stored.c.row != stored.c.key_row, stored.c.key_row == key)
    later = connection.execute(sa.select(stored.c.row).where(is_later)).scalars()
    versions = source_rows(connection, table, [*first, *later])
    return sorted(versions, key=lambda version: (version.received_at, version.row))


def _source_row(table: str, cells: dict[str, object]) -> SourceRow:
    content = {
        column.name: _as_text(cells[column.name], column.kind)
        for column in stored_columns(table)
        if cells[column.name] is not None
    }
    if cells["void"]:
        content["void"] = "yes"
    for name, value in json.loads(str(cells["extra"] or "{}")).items():
        content.setdefault(name, str(value))
    sheet = cells["sheet"]
    return SourceRow(
        table=table,
        row=_int(cells["row"]),
        file=str(cells["file_name"]),
        sheet=None if sheet is None else str(sheet),
        row_number=_int(cells["row_number"]),
        received_at=_moment(_int(cells["received_at"])),
        content=content,
        doubts=tuple(d for d in str(cells["doubts"] or "").split(";") if d),
    )


def _int(cell: object) -> int:
    assert isinstance(cell, int)
    return cell


def _moment(microseconds: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)


def _as_text(cell: object, kind: Kind) -> str:
    if kind is Kind.INSTANT:
        return _moment(_int(cell)).isoformat(sep=" ").removesuffix("+00:00") + " UTC"
    if kind is Kind.DATE:
        return str(np.datetime64(_int(cell), "D"))
    if kind is Kind.MONTH:
        return str(np.datetime64(_int(cell), "D").astype("datetime64[M]"))
    return str(cell)


def refused_rows(connection: sa.Connection, at: int | None) -> pd.DataFrame:
    """Refused rows on the list at an instant, None: now; columns as in `REFUSED`."""
    listed = is_open() if at is None else sa.and_(was_open(at), refused.c.received_at <= at)
    query = (
        sa.select(
            refused.c.refused_row,
            files.c.file.label("ingest"),
            files.c.source,
            files.c.name.label("file"),
            refused.c.table_name.label("table"),
            refused.c.sheet,
            refused.c.row_number,
            refused.c.received_at,
            refused.c.column_name.label("column"),
            refused.c.value,
            refused.c.reason,
            refused.c.whole_row.label("row"),
            refused.c.further,
        )
        .join_from(refused, files, files.c.file == refused.c.file)
        .where(listed)
    )
    return _frame(bulk.fetch(connection, query), REFUSED, "refused_row")


def doubts(connection: sa.Connection) -> pd.DataFrame:
    """Doubts about rows in force; columns as in `DOUBTS`."""
    names = bulk.fetch(connection, sa.select(files.c.file, files.c.name))
    parts = []
    for table in ROWS:
        columns = ["row", "file", "sheet", "row_number", "received_at", "doubts"]
        odd = doubted(connection, table, columns)
        odd = odd.append_column("table", pa.array([table] * odd.num_rows, pa.string()))
        parts.append(odd)
    rows = pa.concat_tables(parts)
    codes = pc.split_pattern(rows["doubts"], ";").combine_chunks()
    rows = rows.take(pc.list_parent_indices(codes)).append_column("doubt", pc.list_flatten(codes))
    rows = _without_answered(connection, rows)
    at = pc.index_in(rows["file"], value_set=names["file"].combine_chunks())
    rows = rows.set_column(rows.column_names.index("file"), "file", names["name"].take(at))
    order = {name: at for at, name in enumerate(INCOMING)}
    frame = _frame(rows, DOUBTS, "row")
    return frame.sort_values("table", key=lambda t: t.map(order), kind="stable", ignore_index=True)


def _without_answered(connection: sa.Connection, rows: pa.Table) -> pa.Table:
    """Without the doubts of entries whose earlier one was voided."""
    looks = pc.equal(rows["doubt"], LOOKS_LIKE_CORRECTION)
    if not pc.any(looks).as_py():
        return rows
    still_open = pa.array(pairs(connection)["row"].to_numpy())
    answered = pc.and_(looks, pc.invert(pc.is_in(rows["row"], value_set=still_open)))
    return rows.filter(pc.invert(answered))


def ingests(connection: sa.Connection) -> pd.DataFrame:
    """Every ingest of a file with its counts; columns as in `INGESTS`."""
    query = sa.select(
        files.c.file.label("ingest"),
        files.c.name.label("file"),
        files.c.source,
        files.c.sha256,
        files.c.size,
        files.c.received_at,
        files.c.ingested_at,
        files.c.brought_by,
        file_counts.c.table_name.label("table"),
        file_counts.c.read,
        file_counts.c.stored,
        file_counts.c.same_as_before,
        file_counts.c.refused,
        file_counts.c.doubts,
        file_counts.c.last_row,
    ).join_from(files, file_counts, files.c.file == file_counts.c.file, isouter=True)
    query = query.where(files.c.name != PAGE)
    return _frame(bulk.fetch(connection, query), INGESTS, "ingest")


def _frame(table: pa.Table, entry: Frame, order_by: str) -> pd.DataFrame:
    ordered = table.take(pa.array(np.argsort(table[order_by].to_numpy(), kind="stable")))
    return entry.check(typed(ordered, entry))
