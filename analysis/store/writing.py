"""How does one file go into the store, all of it or nothing?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import bulk, known
from analysis.store.earlier import (
    earlier_connector_days,
    earlier_versions,
    first_rows,
    versions_of,
)
from analysis.store.known import Registry
from analysis.store.schema import (
    KEYS,
    ROWS,
    file_counts,
    files,
    refused,
    refused_resolved,
    stored_columns,
)
from analysis.store.versions import Keys, Versions, says_something_new, unique_keys, words_of


@dataclass(frozen=True)
class FileInfo:
    """A file about to be stored; instants are microseconds UTC.

    `name` is the file's own name without its folder; `source` the name of the source profile
    or blank.
    """

    name: str
    sha256: str
    size: int
    source: str
    received_at: int
    ingested_at: int


@dataclass(frozen=True)
class Added:
    """What became of the rows of a batch."""

    stored: int
    same_as_before: int


ACCEPTED = ("sheet", "row_number", "received_at", "void", "key", "content", "extra", "doubts")
"""Columns of a batch besides the table's own; `mends` may be there too."""

REFUSED = (
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
)
"""Columns of refused rows."""


class Writer:
    """Adds the rows of one file inside one transaction; made by `Store.writing`."""

    def __init__(self, connection: sa.Connection, info: FileInfo) -> None:
        self._connection = connection
        self._file = _next(connection, files.c.file)
        values = {"file": self._file, **info.__dict__}
        connection.execute(sa.insert(files).values(values))
        self._earlier = self._refused_earlier(info.sha256)

    def add(self, table: str, accepted: pa.Table) -> Added:
        """Store the rows of a batch that say something new.

        Parameters
        ----------
        table : str
            Incoming table.
        accepted : pyarrow.Table
            One row a usable row, in file order: the columns of `ACCEPTED`, `mends` (number of
            the refused row that it mends) and the table's own, typed as they are stored. A row
            with a blank `key` only takes back the refused row it names.

        Returns
        -------
        Added
            Rows stored and rows that are the same as before.
        """
        rows = accepted
        withdrawals = 0
        if rows["key"].null_count:
            has_key = pc.is_valid(rows["key"])
            nameless = rows.filter(pc.invert(has_key))
            self._resolve_mended(nameless)
            withdrawals, rows = nameless.num_rows, rows.filter(has_key)
        if rows.num_rows == 0:
            return Added(withdrawals, 0)
        words = words_of(rows["key"])
        keys = unique_keys(words)
        base = _next(self._connection, ROWS[table].c.row)
        batch = Versions(
            keys.number,
            _whole(rows["received_at"]),
            words_of(rows["content"]),
            base + np.arange(rows.num_rows, dtype=np.int64),
        )
        key_rows, stored = self._stored_versions(table, keys, rows["key"], empty=base == 1)
        new = says_something_new(keys, batch, stored)
        self._append(table, rows, keys, batch, key_rows, new)
        self._resolve(table, rows, words, new)
        n_new = int(new.sum())
        return Added(n_new + withdrawals, len(new) - n_new)

    def refuse(self, rows: pa.Table) -> int:
        """List rows that can't be used; returns how many weren't listed before.

        Parameters
        ----------
        rows : pyarrow.Table
            One row a refused row: the columns of `REFUSED`. A row whose `raw_hash` was listed
            before isn't listed again, unless it came in to mend another.
        """
        if rows.num_rows == 0:
            return 0
        listed, still_open = self._listed(rows)
        given = rows.select(["table", "raw_hash", "mends"]).to_pylist()
        taken, mended = [], set()
        for at, row in enumerate(given):
            name = (row["table"], row["raw_hash"])
            mends = row["mends"]
            anew = name not in listed or (mends is not None and name not in still_open)
            if anew:
                taken.append(at)
                listed[name] = still_open[name] = -1
            if mends is not None and still_open.get(name) != mends:
                mended.add(mends)
        self._list(rows.take(pa.array(taken, pa.int64())))
        self._record_resolved(sorted(mended), "refused anew")
        return len(taken)

    def count(
        self,
        table: str,
        read: int,
        stored: int,
        same_as_before: int,
        refused: int,
        doubts: int,
    ) -> None:
        """Keep the counts of the file's rows of one table."""
        last_row = _next(self._connection, ROWS[table].c.row) - 1
        self._connection.execute(
            sa.insert(file_counts).values(
                file=self._file,
                table_name=table,
                read=read,
                stored=stored,
                same_as_before=same_as_before,
                refused=refused,
                doubts=doubts,
                last_row=last_row,
            )
        )

    def registry(self) -> Registry:
        """What the checks need of lines, stays and caregivers, this file's rows included."""
        return known.registry(self._connection)

    def versions(self, table: str, keys: pa.Array) -> pa.Table:
        """Versions of some keys that earlier files brought; see `earlier.earlier_versions`."""
        return earlier_versions(self._connection, table, keys, self._file)

    def connector_days(self, line_ids: pa.Array, first_day: int, last_day: int) -> pa.Table:
        """Connector changes of earlier files; see `earlier.earlier_connector_days`."""
        return earlier_connector_days(self._connection, line_ids, first_day, last_day, self._file)

    def _stored_versions(
        self, table: str, keys: Keys, cells: pa.ChunkedArray, *, empty: bool
    ) -> tuple[np.ndarray, Versions]:
        """First row of each key of the batch (-1: none) and the stored versions of these keys."""
        key_rows = np.full(keys.n, -1, dtype=np.int64)
        nothing = Versions(
            np.empty(0, np.int64),
            np.empty(0, np.int64),
            np.empty((0, 2), np.uint64),
            np.empty(0, np.int64),
        )
        if empty:
            return key_rows, nothing
        numbers = pa.array(np.arange(keys.n))
        asked = pa.table({"key": cells.take(pa.array(keys.first)), "number": numbers})
        found = first_rows(self._connection, table, asked)
        if found.num_rows == 0:
            return key_rows, nothing
        number, first = _whole(found["number"]), _whole(found["key_row"])
        key_rows[number] = first
        stored = versions_of(self._connection, table, found["key_row"], ["received_at", "content"])
        return key_rows, Versions(
            number[np.searchsorted(first, _whole(stored["key_row"]))],
            _whole(stored["received_at"]),
            words_of(stored["content"]),
            _whole(stored["row"]),
        )

    def _append(
        self,
        table: str,
        rows: pa.Table,
        keys: Keys,
        batch: Versions,
        key_rows: np.ndarray,
        new: np.ndarray,
    ) -> None:
        first_now = key_rows < 0
        key_rows = np.where(first_now, batch.row[keys.first], key_rows)
        columns = {
            "row": pa.array(batch.row),
            "key_row": pa.array(key_rows[keys.number]),
            **{c: rows[c] for c in ("received_at", "void", "content")},
            **{c.name: rows[c.name] for c in stored_columns(table)},
            "file": pa.array(np.full(rows.num_rows, self._file, dtype=np.int64)),
            **{c: rows[c] for c in ("sheet", "row_number", "extra", "doubts")},
        }
        whole = pa.table(columns)
        if not new.all():
            whole = whole.filter(pa.array(new))
        bulk.append(self._connection, ROWS[table], whole)
        first_at = keys.first[first_now]
        bulk.append(
            self._connection,
            KEYS[table],
            pa.table(
                {
                    "key": rows["key"].take(pa.array(first_at)),
                    "key_row": pa.array(key_rows[first_now]),
                }
            ),
        )

    def _refused_earlier(self, sha256: str) -> dict[str, pa.Table]:
        """Open refused rows of earlier files by table, and which are of the same bytes."""
        names = sa.select(files.c.file).where(files.c.sha256 == sha256)
        open_rows = bulk.fetch(
            self._connection,
            sa.select(
                refused.c.refused_row,
                refused.c.table_name,
                refused.c.sheet,
                refused.c.row_number,
                refused.c.key,
                sa.case((refused.c.file.in_(names), 1), else_=0).label("same_file"),
            ).where(known.is_open()),
        )
        tables = pc.unique(open_rows["table_name"]).to_pylist()
        return {t: open_rows.filter(pc.equal(open_rows["table_name"], t)) for t in tables}

    def _resolve(self, table: str, rows: pa.Table, words: np.ndarray, new: np.ndarray) -> None:
        """Take off the list what these rows mend, replace or are."""
        self._resolve_mended(rows)
        earlier = self._earlier.get(table)
        if earlier is None:
            return
        with_key = earlier.filter(pc.is_valid(earlier["key"]))
        now = set(map(tuple, words[new].tolist())) if with_key.num_rows else set()
        same_key = [
            number
            for number, key in zip(
                with_key["refused_row"].to_pylist(),
                words_of(with_key["key"]).tolist(),
                strict=True,
            )
            if tuple(key) in now
        ]
        self._record_resolved(same_key, "same key stored")
        of_file = earlier.filter(pc.equal(earlier["same_file"], 1))
        if of_file.num_rows:
            here = rows.select(["sheet", "row_number"])
            here = here.filter(pc.is_in(here["row_number"], pc.unique(of_file["row_number"])))
            places = {(r["sheet"], r["row_number"]) for r in here.to_pylist()}
            self._record_resolved(
                [
                    r["refused_row"]
                    for r in of_file.to_pylist()
                    if (r["sheet"], r["row_number"]) in places
                ],
                "accepted now",
            )

    def _resolve_mended(self, rows: pa.Table) -> None:
        if "mends" in rows.column_names and rows["mends"].null_count < rows.num_rows:
            mends = rows["mends"].drop_null()
            self._record_resolved(sorted(set(mends.to_pylist())), "mended")

    def _record_resolved(self, numbers: Sequence[int], how: str) -> None:
        """Record that refused rows left the list; numbers unknown or gone already are passed by."""
        if not numbers:
            return
        staged = bulk.stage(
            self._connection, "asked_refused", pa.table({"refused_row": pa.array(numbers)})
        )
        self._connection.execute(
            sa.insert(refused_resolved).from_select(
                ["refused_row", "file", "how"],
                sa.select(refused.c.refused_row, sa.literal(self._file), sa.literal(how)).where(
                    refused.c.refused_row.in_(sa.select(staged.c.refused_row)), known.is_open()
                ),
            )
        )

    def _listed(self, rows: pa.Table) -> tuple[dict[tuple[str, bytes], int], ...]:
        """Refused rows with one of these raw hashes: all ever listed, and those still open."""
        staged = bulk.stage(
            self._connection, "asked_hashes", pa.table({"raw_hash": rows["raw_hash"].unique()})
        )
        found = bulk.fetch(
            self._connection,
            sa.select(
                refused.c.refused_row,
                refused.c.table_name,
                refused.c.raw_hash,
                sa.case((known.is_open(), 1), else_=0).label("still_open"),
            ).where(refused.c.raw_hash.in_(sa.select(staged.c.raw_hash))),
        ).to_pylist()
        every = {(r["table_name"], r["raw_hash"]): r["refused_row"] for r in found}
        still_open = {
            (r["table_name"], r["raw_hash"]): r["refused_row"] for r in found if r["still_open"]
        }
        return every, still_open

    def _list(self, rows: pa.Table) -> None:
        base = _next(self._connection, refused.c.refused_row)
        bulk.append(
            self._connection,
            refused,
            pa.table(
                {
                    "refused_row": pa.array(base + np.arange(rows.num_rows, dtype=np.int64)),
                    "file": pa.array(np.full(rows.num_rows, self._file, dtype=np.int64)),
                    "table_name": rows["table"],
                    "sheet": rows["sheet"],
                    "row_number": rows["row_number"],
                    "received_at": rows["received_at"],
                    "column_name": rows["column"],
                    "value": rows["value"],
                    "reason": rows["reason"],
                    "key": rows["key"],
                    "mends": rows["mends"],
                    "whole_row": rows["row"],
                    "raw_hash": rows["raw_hash"],
                }
            ),
        )


def _next(connection: sa.Connection, column: sa.Column[int]) -> int:
    return int(connection.execute(sa.select(sa.func.max(column))).scalar() or 0) + 1


def _whole(cells: pa.ChunkedArray) -> np.ndarray:
    return np.asarray(cells.to_numpy(), dtype=np.int64)
