"""Which refused rows are on the list, and which leave it when a file is stored?

A refused row leaves the list when a row corrects it, when a later file brings a
row of its key, or when its own file is read again and the row is usable now. Nothing is
deleted: leaving is a row of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.numbers import next_number
from analysis.store.schema import files, refused, refused_resolved
from analysis.store.seen import Seen
from analysis.store.versions import words_of

REFUSED_COLUMNS = (
    "table",
    "sheet",
    "row_number",
    "received_at",
    "column",
    "value",
    "reason",
    "key",
    "mends",
    "row",
    "raw_hash",
    "further",
)
"""Columns of refused rows as they come in."""


def is_open() -> sa.ColumnElement[bool]:
    """Of a refused row: it is still on the list."""
    return ~sa.exists().where(refused_resolved.c.refused_row == refused.c.refused_row)


def was_open(at: int) -> sa.ColumnElement[bool]:
    """Of a refused row: no file received by an instant had taken it off the list."""
    corrected = sa.select(refused_resolved.c.refused_row).join(
        files, files.c.file == refused_resolved.c.file
    )
    return refused.c.refused_row.not_in(corrected.where(files.c.received_at <= at))


class Refusals:
    """The list as one file changes it, inside the file's transaction."""

    def __init__(self, connection: sa.Connection, file: int, sha256: str) -> None:
        self._connection = connection
        self._file = file
        self._ever: Seen | None = None
        same_bytes = sa.select(files.c.file).where(files.c.sha256 == sha256)
        self._earlier = bulk.fetch(
            connection,
            sa.select(
                refused.c.refused_row,
                refused.c.table_name,
                refused.c.sheet,
                refused.c.row_number,
                refused.c.key,
                refused.c.reason,
                refused.c.column_name,
                sa.case((refused.c.file.in_(same_bytes), 1), else_=0).label("same_bytes"),
            ).where(is_open()),
        )

    def holds(self, number: int) -> bool:
        """Whether a refused row was on the list before this file."""
        return bool(pc.any(pc.equal(self._earlier["refused_row"], number)).as_py())

    def columns_at_fault(self, reasons: Collection[str]) -> dict[int, str]:
        """Column at fault of the rows on the list before this file, by number, for some reasons."""
        wanted = pc.is_in(self._earlier["reason"], value_set=pa.array(reasons, pa.string()))
        rows = self._earlier.filter(wanted).select(["refused_row", "column_name"]).to_pylist()
        return {row["refused_row"]: row["column_name"] or "" for row in rows}

    def put_on(self, rows: pa.Table) -> int:
        """List refused rows that aren't listed yet; returns how many.

        A row whose `raw_hash` was ever on the list is not added again. One sent to correct
        another takes its place, unless it is that very row, unchanged.
        """
        if rows.num_rows == 0:
            return 0
        ever, still_open = self._listed(rows["raw_hash"])
        taken, corrected = [], set()
        cells = (rows[name].to_pylist() for name in ("table", "raw_hash", "mends"))
        for at, (table, raw_hash, mends) in enumerate(zip(*cells, strict=True)):
            name = (table, raw_hash)
            if name not in ever or (mends is not None and name not in still_open):
                taken.append(at)
                ever[name] = still_open[name] = -1
            if mends is not None and still_open.get(name) != mends:
                corrected.add(mends)
        self._append(rows.take(pa.array(taken, pa.int64())))
        self._take_off(corrected, "refused again")
        return len(taken)

    def take_off_corrected(self, rows: pa.Table) -> None:
        """Remove what usable rows correct."""
        if "mends" in rows.column_names and rows["mends"].null_count < rows.num_rows:
            self._take_off(pc.unique(rows["mends"].drop_null()).to_pylist(), "corrected")

    def take_off_replaced(self, table: str, rows: pa.Table, new_keys: pa.ChunkedArray) -> None:
        """Remove what is in earlier files and has a usable row now.

        Parameters
        ----------
        table : str
            Incoming table.
        rows : pyarrow.Table
            Usable rows of this file: sheet, row_number.
        new_keys : pyarrow.ChunkedArray
            Keys of the rows with new content.
        """
        earlier = self._earlier.filter(pc.equal(self._earlier["table_name"], table))
        if earlier.num_rows == 0:
            return
        has_key = pc.is_in(earlier["key"], value_set=new_keys.cast(pa.binary()).combine_chunks())
        replaced = earlier.filter(pc.and_(has_key, earlier["key"].is_valid()))
        self._take_off(replaced["refused_row"].to_pylist(), "key stored")
        own = earlier.filter(pc.equal(earlier["same_bytes"], 1))
        places = ["sheet", "row_number"]
        numbers = own["row_number"].combine_chunks()
        here = rows.select(places).filter(pc.is_in(rows["row_number"], value_set=numbers))
        usable = {tuple(place.values()) for place in here.to_pylist()}
        found = zip(own["refused_row"].to_pylist(), own.select(places).to_pylist(), strict=True)
        self._take_off([n for n, place in found if tuple(place.values()) in usable], "usable now")

    def _listed(self, hashes: pa.ChunkedArray) -> tuple[dict[tuple[str, bytes], int], ...]:
        """Refused rows with one of these raw hashes: all ever listed, and those still open."""
        if self._ever is None:
            self._ever = Seen()
            every = bulk.fetch(self._connection, sa.select(refused.c.raw_hash))
            self._ever.note(words_of(every["raw_hash"]))
        asked = pa.table({"raw_hash": hashes.unique()})
        asked = asked.filter(pa.array(self._ever.perhaps(words_of(asked["raw_hash"]))))
        self._ever.note(words_of(hashes))
        if asked.num_rows == 0:
            return {}, {}
        staged = bulk.stage(self._connection, "asked_hashes", asked)
        query = sa.select(
            refused.c.refused_row,
            refused.c.table_name,
            refused.c.raw_hash,
            sa.case((is_open(), 1), else_=0).label("still_open"),
        ).where(refused.c.raw_hash.in_(sa.select(staged.c.raw_hash)))
        found = bulk.fetch(self._connection, query).to_pylist()
        ever = {(r["table_name"], r["raw_hash"]): r["refused_row"] for r in found}
        still_open = {
            (r["table_name"], r["raw_hash"]): r["refused_row"] for r in found if r["still_open"]
        }
        return ever, still_open

    def _append(self, rows: pa.Table) -> None:
        n = rows.num_rows
        first = next_number(self._connection, refused.c.refused_row)
        listed = rows.select(REFUSED_COLUMNS).rename_columns(
            {"table": "table_name", "column": "column_name", "row": "whole_row"}
        )
        listed = listed.append_column("refused_row", pa.array(first + np.arange(n)))
        listed = listed.append_column("file", pa.array(np.full(n, self._file, dtype=np.int64)))
        bulk.append(self._connection, refused, listed)

    def _take_off(self, numbers: Iterable[int], how: str) -> None:
        """Record that refused rows left the list; unknown ones and those gone are passed by."""
        asked = pa.table({"refused_row": pa.array(sorted(numbers), pa.int64())})
        if asked.num_rows == 0:
            return
        staged = bulk.stage(self._connection, "asked_refused", asked)
        leaving = sa.select(refused.c.refused_row, sa.literal(self._file), sa.literal(how)).where(
            refused.c.refused_row.in_(sa.select(staged.c.refused_row)), is_open()
        )
        columns = ["refused_row", "file", "how"]
        self._connection.execute(sa.insert(refused_resolved).from_select(columns, leaving))
