"""How does one file go into the store, all of it or nothing?"""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import blocks, bulk, chain, earlier, known, originals, receipts, voiding
from analysis.store.deleted import DeletedFamilies
from analysis.store.known import Registry
from analysis.store.numbers import next_number
from analysis.store.refusals import Refusals
from analysis.store.schema import KEYS, ROWS, file_counts, files, stored_columns
from analysis.store.seen import Seen
from analysis.store.versions import (
    NO_VERSIONS,
    Ints,
    Keys,
    Mask,
    Versions,
    says_something_new,
    unique_keys,
    words_of,
)


@dataclass(frozen=True)
class FileInfo:
    """A file about to be stored; instants are microseconds UTC.

    `name` is the file's own name without its folder; `source` the name of the source profile
    or blank; `brought_by` the code of the person who uploaded it; `history` is 1 where receipts of
    rows are assumed.
    """

    name: str
    sha256: str
    size: int
    source: str
    received_at: int
    ingested_at: int
    brought_by: str | None = None
    history: int | None = None


@dataclass(frozen=True)
class Added:
    """What became of the rows of a batch."""

    stored: int
    same_as_before: int


class Writer:
    """Adds the rows of one file inside one transaction; made by `Store.writing`."""

    def __init__(self, connection: sa.Connection, info: FileInfo) -> None:
        self._connection = connection
        self._file = next_number(connection, files.c.file)
        self._refusals = Refusals(connection, self._file, info.sha256)
        self._deleted = DeletedFamilies(connection)
        self._left_out: pa.Table | None = None
        self._brought: dict[str, Seen] = {}
        """Of each table that was empty before this file: the keys it brought."""
        self.n_of_deleted = 0
        """Rows of families that were deleted on request: neither stored nor listed as refused."""
        listed = {name: cell for name, cell in asdict(info).items() if cell is not None}
        connection.execute(sa.insert(files).values(file=self._file, **listed))

    def add(self, table: str, accepted: pa.Table) -> Added:
        """Store the rows of a batch that say something new.

        Parameters
        ----------
        table : str
            Incoming table.
        accepted : pyarrow.Table
            One row a usable row, in file order: `sheet`, `row_number`, `received_at`
            (microseconds UTC), `void`, `key` and `content` (16 bytes each), `extra` (a JSON
            object of further columns), `doubts` (codes joined by ``;``), perhaps `mends` (number
            of the refused row that it corrects), perhaps `known_as` (the key under which an earlier
            version of the row is stored, where it is another one: from now on that is known under
            the new key), and the table's own columns as they are stored. A row with a blank `key`
            does nothing but remove the refused row it names.

        Returns
        -------
        Added
            Rows stored and rows that are the same as before; rows of deleted families are neither.
        """
        self._refusals.take_off_corrected(accepted)
        rows = accepted.filter(pc.is_valid(accepted["key"]))
        withdrawals = accepted.num_rows - rows.num_rows
        of_deleted = self._deleted.among(rows)
        self._left_out = None if of_deleted is None else rows.filter(pa.array(of_deleted))
        rows = self._without(rows, of_deleted)
        if rows.num_rows == 0:
            return Added(withdrawals, 0)
        keys = unique_keys(words_of(rows["key"]))
        first_number = next_number(self._connection, ROWS[table].c.row)
        batch = Versions(
            keys.number,
            _whole(rows["received_at"]),
            words_of(rows["content"]),
            first_number + np.arange(rows.num_rows, dtype=np.int64),
        )
        key_rows, stored = np.full(keys.n, -1, dtype=np.int64), NO_VERSIONS
        if first_number == 1:
            self._brought[table] = Seen()
        else:
            if "known_as" in rows.column_names:
                self._rename(table, rows)
            key_rows, stored = self._stored_versions(table, keys, rows["key"])
        new = says_something_new(keys, batch, stored)
        self._append(table, rows, keys, batch, key_rows, new)
        self._refusals.take_off_replaced(table, rows, rows["key"].filter(pa.array(new)))
        n_new = int(np.count_nonzero(new))
        return Added(n_new + withdrawals, len(new) - n_new)

    def void(self, table: str, keys: pa.Array, received_at: pa.Array) -> int:
        """Void what is in force under some keys; how many it was. See `voiding`."""
        rows = voiding.rows_that_void(self._connection, table, keys, received_at)
        return self.add(table, rows).stored if rows.num_rows else 0

    def keep_originals(self, table: str, sheet: str | None, cells: pa.Table) -> None:
        """Store what was written in cells of the last batch that were read as something else."""
        if self._left_out is not None:
            numbers = self._left_out["row_number"].combine_chunks()
            cells = cells.filter(pc.invert(pc.is_in(cells["row_number"], value_set=numbers)))
        if cells.num_rows:
            originals.add(self._connection, self._file, table, sheet, cells)

    def refuse(self, rows: pa.Table) -> int:
        """List rows that can't be used; returns how many weren't listed before.

        Parameters
        ----------
        rows : pyarrow.Table
            One row a refused row: the columns of `refusals.REFUSED_COLUMNS`.
        """
        return self._refusals.put_on(self._without(rows, self._deleted.among_refused(rows["row"])))

    def _without(self, rows: pa.Table, of_deleted: Mask | None) -> pa.Table:
        if of_deleted is None:
            return rows
        self.n_of_deleted += int(np.count_nonzero(of_deleted))
        return rows.filter(pa.array(~of_deleted))

    def is_listed(self, number: int) -> bool:
        """Whether a refused row is on the list and not corrected yet."""
        return self._refusals.holds(number)

    def columns_at_fault(self, reasons: Collection[str]) -> dict[int, str]:
        """Column at fault of rows on the list, by number; see `Refusals.columns_at_fault`."""
        return self._refusals.columns_at_fault(reasons)

    @property
    def file(self) -> int:
        """The number of the file."""
        return self._file

    def count(
        self,
        table: str,
        read: int,
        stored: int,
        same_as_before: int,
        refused: int,
        doubts: int,
        reading: str | None = None,
        unknown_heads: Collection[str] = (),
    ) -> None:
        """Record the counts of the file's rows of one table, and how they were read.

        `reading` is how its cells are read, `unknown_heads` which columns were not known.
        """
        counts = {
            "file": self._file,
            "table_name": table,
            "read": read,
            "stored": stored,
            "same_as_before": same_as_before,
            "refused": refused,
            "doubts": doubts,
            "last_row": next_number(self._connection, ROWS[table].c.row) - 1,
            "reading": reading,
            "originals": 1,
            "unknown_heads": json.dumps(sorted(unknown_heads)) if unknown_heads else None,
        }
        self._connection.execute(sa.insert(file_counts).values(counts))

    def registry(self) -> Registry:
        """What the checks need of lines, stays and caregivers, this file's rows included."""
        return known.registry(self._connection)

    def versions(self, table: str, keys: pa.Array) -> pa.Table:
        """Versions of some keys that earlier files brought; see `earlier.earlier_versions`."""
        return earlier.earlier_versions(self._connection, table, keys, self._file)

    def rows_of_files(self, table: str, numbers: Sequence[int], columns: Sequence[str]) -> pa.Table:
        """Rows that some ingests stored; see `earlier.rows_of_files`."""
        return earlier.rows_of_files(self._connection, table, numbers, columns)

    def correct_receipts(self, numbers: Sequence[int], latest: int, at: int) -> int:
        """Correct receipts in the future of rows of some ingests; see `receipts.correct`."""
        return receipts.correct(self._connection, numbers, latest, at)

    def unknown_heads(self, table: str) -> list[str]:
        """Heads of columns of a table that were not known; see `earlier.unknown_heads`."""
        return earlier.unknown_heads(self._connection, table)

    def connector_days(self, line_ids: pa.Array, first_day: int, last_day: int) -> pa.Table:
        """Connector changes of earlier files; see `earlier.earlier_connector_days`."""
        return earlier.earlier_connector_days(
            self._connection, line_ids, first_day, last_day, self._file
        )

    def entries_like(self, line_ids: pa.Array, days: pa.Array) -> pa.Table:
        """Unnumbered entries of earlier files; see `earlier.entries_like`."""
        return earlier.entries_like(self._connection, line_ids, days, self._file)

    def _stored_versions(
        self, table: str, keys: Keys, cells: pa.ChunkedArray
    ) -> tuple[Ints, Versions]:
        """First row of each key of the batch (-1: none) and the stored versions of these keys."""
        numbers = np.arange(keys.n)
        if table in self._brought:
            numbers = numbers[self._brought[table].perhaps(words_of(cells)[keys.first])]
        names = cells.take(pa.array(keys.first[numbers]))
        asked = pa.table({"key": names, "number": pa.array(numbers)})
        found = earlier.first_rows(self._connection, table, asked)
        number, first = _whole(found["number"]), _whole(found["key_row"])
        key_rows = np.full(keys.n, -1, dtype=np.int64)
        key_rows[number] = first
        if found.num_rows == 0:
            return key_rows, NO_VERSIONS
        stored = earlier.versions_of(
            self._connection, table, found["key_row"], ["received_at", "content"]
        )
        return key_rows, Versions(
            number[np.searchsorted(first, _whole(stored["key_row"]))],
            _whole(stored["received_at"]),
            words_of(stored["content"]),
            _whole(stored["row"]),
        )

    def _rename(self, table: str, rows: pa.Table) -> None:
        """Give keys that are stored under another name their new one."""
        renamed = rows.select(["key", "known_as"]).filter(pc.is_valid(rows["known_as"]))
        if renamed.num_rows == 0:
            return
        numbers = pa.array(np.arange(renamed.num_rows))
        asked = pa.table({"key": renamed["known_as"], "number": numbers})
        found = earlier.first_rows(self._connection, table, asked)
        self._brought.pop(table, None)
        keys = KEYS[table]
        old = asked["key"].take(found["number"])
        names = bulk.stage(self._connection, "old_keys", pa.table({"key": old}))
        self._connection.execute(sa.delete(keys).where(keys.c.key.in_(sa.select(names.c.key))))
        new = renamed["key"].take(found["number"])
        bulk.append(self._connection, keys, pa.table({"key": new, "key_row": found["key_row"]}))

    def _append(
        self, table: str, rows: pa.Table, keys: Keys, batch: Versions, key_rows: Ints, new: Mask
    ) -> None:
        # The first row of a key that isn't stored is always new, so its number can name the key.
        unknown = key_rows < 0
        key_rows = np.where(unknown, batch.row[keys.first], key_rows)
        columns = {
            "row": pa.array(batch.row),
            "key_row": pa.array(key_rows[keys.number]),
            **{name: rows[name] for name in ("received_at", "void", "content")},
            **{column.name: rows[column.name] for column in stored_columns(table)},
            "file": pa.array(np.full(rows.num_rows, self._file, dtype=np.int64)),
            **{name: rows[name] for name in ("sheet", "row_number", "extra", "doubts")},
        }
        whole = pa.table(columns)
        if not new.all():
            whole = whole.filter(pa.array(new))
        bulk.append(self._connection, ROWS[table], whole)
        blocks.add(self._connection, table, whole)
        chain.add(self._connection, table, whole)
        names = rows["key"].take(pa.array(keys.first[unknown]))
        named = pa.table({"key": names, "key_row": pa.array(key_rows[unknown])})
        bulk.append(self._connection, KEYS[table], named)
        if table in self._brought:
            self._brought[table].note(words_of(names))


def _whole(cells: pa.ChunkedArray) -> Ints:
    return np.asarray(cells.to_numpy(), dtype=np.int64)
