"""What does the store hold of a table in all its versions, superseded and withdrawn ones too?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.store import blocks, bulk
from analysis.store.frames import typed
from analysis.store.schema import ROWS, arrangements, stored_columns
from analysis.tables.incoming import INCOMING
from analysis.tables.records import KNOWN


@dataclass(frozen=True)
class EveryVersion:
    """All versions of a table's rows, in order of their number."""

    frame: pd.DataFrame
    """Columns of the table's entry in `KNOWN`, one row a version."""
    key: npt.NDArray[np.int64]
    """Same number, same key; shape (versions,)."""
    void: npt.NDArray[np.bool_]
    """The version withdraws its key; shape (versions,)."""


def every_version(connection: sa.Connection) -> Mapping[str, EveryVersion]:
    """Read all versions of every table, and every arrangement.

    An arrangement and its undoing are two versions of one key, received when they were made.
    """
    return {
        **{name: _of_table(connection, name) for name in INCOMING},
        arrangements.name: _arrangements(connection),
    }


def revised(connection: sa.Connection) -> Mapping[str, EveryVersion]:
    """Read all versions of the keys that have several, and every arrangement.

    They are few. What is in force now and in none of these was never anything else.
    """
    return {
        **{name: of_revised_keys(connection, name) for name in INCOMING},
        arrangements.name: _arrangements(connection),
    }


def _of_table(connection: sa.Connection, name: str) -> EveryVersion:
    rows = ROWS[name]
    table = blocks.read(connection, name, lambda block: block)
    # Blocks do not hold keys: all but later versions have their own number as key.
    query = sa.select(rows.c.row, rows.c.key_row).where(rows.c.row != rows.c.key_row)
    later = bulk.fetch(connection, query).sort_by("row")
    row = table["row"].to_numpy()
    key = row.copy()
    key[np.searchsorted(row, later["row"].to_numpy())] = later["key_row"].to_numpy()
    return _versions(name, table.append_column("key_row", pa.array(key)))


def of_revised_keys(connection: sa.Connection, name: str) -> EveryVersion:
    """Read all versions of the keys of a table that have several."""
    found = [bulk.fetch(connection, each) for each in _several(name)]
    return _versions(name, pa.concat_tables(found).sort_by("row"))


@cache
def _several(name: str) -> tuple[sa.Select[tuple[object, ...]], ...]:
    """Select the first and the later versions of keys with several."""
    rows = ROWS[name]
    other = rows.alias("other")
    keys = sa.select(other.c.key_row).where(other.c.row != other.c.key_row)
    parts = (rows.c.row.in_(keys), rows.c.row != rows.c.key_row)
    return tuple(_query(name).where(part) for part in parts)


def _query(name: str) -> sa.Select[tuple[object, ...]]:
    columns = ["row", "received_at", *(c.name for c in stored_columns(name)), "key_row", "void"]
    return sa.select(*(ROWS[name].c[c] for c in columns))


def _versions(name: str, table: pa.Table) -> EveryVersion:
    return EveryVersion(
        frame=typed(table, KNOWN[name]),
        key=table["key_row"].to_numpy().astype(np.int64),
        void=table["void"].to_numpy() != 0,
    )


def _arrangements(connection: sa.Connection) -> EveryVersion:
    query = sa.select(*arrangements.c).order_by(arrangements.c.row)
    recorded = bulk.fetch(connection, query)
    back = recorded["takes_back"].to_pandas()
    frame = typed(recorded, KNOWN[arrangements.name]).assign(
        received_at=recorded["made_at"].to_numpy().astype("datetime64[us]")
    )
    key = np.where(back.notna(), back.fillna(-1), frame["row"]).astype(np.int64)
    return EveryVersion(frame=frame, key=key, void=back.notna().to_numpy(dtype=bool))
