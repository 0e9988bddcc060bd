"""Which stored row does a row replace that the program did not read in the same way before?

A row's key follows from how it was read. So when a column becomes known, or a source profile or
time zone changes, an entry without an `entry_id` gets another key, and without the rules here it
would be stored as a second event.

- **A file read again in another way**: its rows are matched with the rows it stored by sheet and
  row number. A row that now has another key becomes a version of the row stored before, under the
  new key. Where that is not possible, because the new key is stored already or another row of the
  file has the old one, the row is stored under its new key, and the old one is voided unless a row
  of the file still has it. So a file always ends as if it had been read in the new way only.
- **Another file with an entry stored before a column was known**: the entry is read a second time
  as it was read then. If that key is stored and the new one is not, it becomes a version of the
  entry stored before, now with the column filled.

Rows that another file has corrected or voided in the meantime stay as corrected.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.checked import Checked
from analysis.ingest.checking import check
from analysis.ingest.history import EarlierRows
from analysis.ingest.identity import HASH_BYTES, given_up, hash_array, stored_keys
from analysis.ingest.known_lines import KnownLines
from analysis.ingest.reading import before_known
from analysis.store import FileBefore
from analysis.tables.incoming import INCOMING

Mask = npt.NDArray[np.bool_]
Objects = npt.NDArray[np.object_]


class StoredRows(EarlierRows, Protocol):
    """What the store knows of rows of earlier files."""

    def rows_of_files(self, table: str, numbers: Sequence[int], columns: Sequence[str]) -> pa.Table:
        """Rows that some ingests stored."""

    def unknown_heads(self, table: str) -> list[str]:
        """Heads of columns of a table that were not known."""


@dataclass(frozen=True)
class Replaced:
    """What a batch replaces; arrays have one entry a row of the batch, None for "no key".

    `known_as` is the key to be given up for the row's own, `voided` the key to be voided.
    """

    known_as: Objects
    voided: Objects

    @classmethod
    def nothing(cls, n: int) -> Replaced:
        """No row replaces another."""
        return cls(np.full(n, None, object), np.full(n, None, object))

    def of(self, rows: Mask) -> Replaced:
        """The same of some rows of the batch."""
        return Replaced(self.known_as[rows], self.voided[rows])

    def where(self, rows: Mask) -> Replaced:
        """The same, but the other rows replace nothing."""
        return Replaced(_only(self.known_as, rows), _only(self.voided, rows))

    @property
    def rows(self) -> Mask:
        """Rows that replace another."""
        return pd.notna(self.known_as) | pd.notna(self.voided)

    def earlier_keys(self) -> set[bytes]:
        """The keys that are given up or voided."""
        keys = np.concatenate([self.known_as, self.voided])
        return set(keys[pd.notna(keys)])

    @property
    def any(self) -> bool:
        """Whether any row replaces another."""
        return bool(self.rows.any())

    def keys(self, own: pa.Array) -> pa.Array:
        """The key under which each row is stored so far: its own, or the one it had before."""
        before = np.where(pd.notna(self.known_as), self.known_as, self.voided)
        return pc.coalesce(pa.array(before, own.type), own)

    def named(self, rows: pa.Table) -> pa.Table:
        """The rows with the key that each gives up for its own (`known_as`)."""
        return rows.append_column("known_as", pa.array(self.known_as, pa.binary(HASH_BYTES)))


def replaced_by_file(
    batches: Sequence[Checked], before: FileBefore, stored: StoredRows, table: str
) -> list[Replaced]:
    """Match all rows of a table of a file with what the same bytes stored before.

    Parameters
    ----------
    batches : sequence of Checked
        Every batch of the table.
    before : FileBefore
        The earlier ingests of the file.
    stored : StoredRows
        The store.
    table : str
        Incoming table.

    Returns
    -------
    list of Replaced
        One a batch.
    """
    # One row a row of the file, with its key now and the key of the newest row it stored before.
    now = pd.concat([_places(checked) for checked in batches], ignore_index=True)
    earlier = _earlier_places(stored, before, table)
    now = now.merge(earlier, on=["sheet", "row_number"], how="left", validate="one_to_one")
    has_both = (now["key"].notna() & now["old"].notna() & now["usable"]).to_numpy(dtype=bool)
    moved = has_both & (now["key"] != now["old"]).to_numpy(dtype=bool)
    moved &= ~now["old"].isin(now["key"].dropna()).to_numpy(dtype=bool)
    is_new = ~_are_stored(now["key"], stored, table, moved)
    single = ~now["key"].duplicated(keep=False).to_numpy(dtype=bool)
    single &= ~now["old"].duplicated(keep=False).to_numpy(dtype=bool)
    old = now["old"].to_numpy(dtype=object)
    known_as = _only(old, moved & is_new & single)
    voided = _only(old, moved & ~(is_new & single))
    ends = np.cumsum([len(checked) for checked in batches])[:-1]
    return [
        Replaced(*parts)
        for parts in zip(np.split(known_as, ends), np.split(voided, ends), strict=True)
    ]


def replaced_by_reading(
    checked: Checked, known: KnownLines, stored: StoredRows, unknown: Sequence[str]
) -> Replaced:
    """Match entries without a number of their own with those stored before a column was known.

    Parameters
    ----------
    checked : Checked
        A batch of the home log.
    known : KnownLines
        The registry.
    stored : StoredRows
        The store.
    unknown : sequence of str
        Heads that were not known once.

    Returns
    -------
    Replaced
        What the batch replaces.
    """
    nothing = Replaced.nothing(len(checked))
    part = checked.source.part
    heads = before_known(part.heads, unknown)
    if heads is None:
        return nothing
    key = _objects(checked.accepted["key"])
    open_rows = checked.faults.usable & np.asarray(
        checked.accepted["entry_id"].combine_chunks().is_null()
    )
    open_rows &= pd.notna(key)
    if not open_rows.any():
        return nothing
    as_before = check(checked.raw, checked.source.with_heads(heads), known)
    old = _objects(as_before.accepted["key"])
    moved = open_rows & pd.notna(old) & (old != key)
    moved &= _are_stored(pd.Series(old), stored, "home_log", moved)
    moved &= ~_are_stored(pd.Series(key), stored, "home_log", moved)
    moved &= ~pd.Series(key).duplicated().to_numpy(dtype=bool)
    moved[moved] &= ~pd.Series(old[moved]).duplicated().to_numpy(dtype=bool)
    return Replaced(_only(old, moved), nothing.voided)


def voids(rows: pa.Table, replaced: Replaced) -> pa.Table:
    """Rows that void the keys of earlier versions, made of the rows that replace them."""
    at = np.flatnonzero(pd.notna(replaced.voided))
    keys = replaced.voided[at].tolist()
    return (
        rows.take(pa.array(at))
        .set_column(rows.column_names.index("void"), "void", pa.array(np.ones(len(at), bool)))
        .set_column(rows.column_names.index("key"), "key", hash_array(keys))
        .set_column(rows.column_names.index("content"), "content", hash_array(given_up(keys)))
    )


def _places(checked: Checked) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "sheet": _objects(checked.accepted["sheet"]),
            "row_number": np.asarray(checked.accepted["row_number"]),
            "key": _objects(checked.accepted["key"]),
            "usable": checked.faults.usable & ~checked.withdrawals,
        }
    )


def _earlier_places(stored: StoredRows, before: FileBefore, table: str) -> pd.DataFrame:
    """Sheet, row number and key (`old`) of the newest row stored from each place of the file."""
    key = INCOMING[table].key
    columns = ["sheet", "row_number", "void", "content", *key]
    rows = stored.rows_of_files(table, before.files, columns)
    found = pd.DataFrame(
        {
            "sheet": _objects(rows["sheet"]),
            "row_number": np.asarray(rows["row_number"]),
            "old": _objects(stored_keys(table, rows)),
        }
    )
    of_place = found.drop_duplicates(["sheet", "row_number"], keep="last")
    return of_place.reset_index(drop=True)


def _are_stored(keys: pd.Series, stored: StoredRows, table: str, asked: Mask) -> Mask:
    """Whether a key is stored, of the rows asked for."""
    found = np.zeros(len(keys), np.bool_)
    if asked.any():
        versions = stored.versions(table, hash_array(keys[asked].tolist()))
        found[asked] = keys[asked].isin(set(versions["key"].to_pylist()))
    return found


def _only(keys: Objects, where: Mask) -> Objects:
    """The keys of some rows, None in the others."""
    found = keys.copy()
    found[~where] = None
    return found


def _objects(column: pa.ChunkedArray | pa.Array) -> Objects:
    return np.array(column.to_pylist() or [], dtype=object)
