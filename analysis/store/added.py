"""What is known now, when most of it was read before? Only rows added since are read.

Stored rows are only ever added, and every addition leaves a link (`analysis.store.chain`). While the
last link of each table from before is still there, the rows up to it are as they were; where it is
not, everything has to be read again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import blocks, bulk, chain, known
from analysis.store.faults import UNKNOWN_WORD, StoreError
from analysis.store.frames import dtype_of_words, typed
from analysis.store.schema import ROWS
from analysis.store.spans import history_spans
from analysis.tables.columns import Frame, UnknownWordError
from analysis.tables.incoming import INCOMING
from analysis.tables.linked import Linked
from analysis.tables.records import KNOWN, Records

MOST_ROWS = 5_000
"""Added rows of a table at most: of more it is as quick to read everything."""


@dataclass(frozen=True)
class Added:
    """Records with what was added since, and whose rows came or went."""

    records: Records
    changed: Linked


def added(connection: sa.Connection, before: Records, known_at: int | None) -> Added | None:
    """Read what was added since records were read, known at the same instant.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Sees one moment of the store.
    before : Records
        As :func:`analysis.store.known.records` gave them.
    known_at : int or None
        The instant with which they were read, microseconds UTC.

    Returns
    -------
    Added or None
        None: stored rows were changed, or too many were added; read everything.
    """
    ends = chain.ends(connection)
    frames: dict[str, pd.DataFrame] = {}
    moved: list[pd.DataFrame] = []
    later = before.not_yet_known
    names = [name for name in INCOMING if name != "calls"]  # few, and not in these links
    for name in names:
        held = before.links.get(name)
        if held == ends.get(name):
            continue
        known_before = len(getattr(before, name)) > 0
        if known_before if held is None else not chain.only_added_to(connection, name, held):
            return None
        last = 0 if held is None else held[1]
        cells = _added_rows(connection, name, last)
        if cells is None:
            return None
        if known_at is not None:
            later += int(np.count_nonzero(cells["received_at"].to_numpy() > known_at))
        gone, come = _changes(connection, name, last, known_at)
        frame, rows = _with(getattr(before, name), KNOWN[name], cells, gone, come)
        frames[name] = frame
        moved += rows
    frames["calls"], frames["arrangements"] = (
        known.calls(connection, known_at),
        known.arrangements_in_force(connection, known_at),
    )
    if "lines" in frames:
        frames["earlier_lines"] = known.earlier_lines(connection, known_at)
    records = replace(
        before,
        **frames,
        links={name: ends[name] for name in names if name in ends},
        not_yet_known=later,
        history=history_spans(connection),
    )
    return Added(records, Linked.named_in(moved))


def _added_rows(connection: sa.Connection, name: str, last: int) -> pa.Table | None:
    """Rows added after the last known one, as they lie in a block; None: too many."""
    rows = ROWS[name]
    n_rows = sa.select(sa.func.count()).where(rows.c.row > last)
    if (connection.scalar(n_rows) or 0) > MOST_ROWS:
        return None
    columns = [rows.c[column] for column in blocks.cells_of(name).names]
    return bulk.fetch(connection, sa.select(*columns).where(rows.c.row > last)).sort_by("row")


def _changes(
    connection: sa.Connection, name: str, last: int, known_at: int | None
) -> tuple[np.ndarray, np.ndarray]:
    """Rows that were in force before and are no longer, and those that are now."""
    rows = ROWS[name]
    keys = sa.select(rows.c.key_row).where(rows.c.row > last)
    columns = (rows.c.key_row, rows.c.received_at, rows.c.row, rows.c.void)
    is_later = sa.and_(rows.c.key_row.in_(keys), rows.c.row != rows.c.key_row)
    found = [
        bulk.fetch(connection, sa.select(*columns).where(which))
        for which in (rows.c.row.in_(keys), is_later)
    ]
    key, received, row, void = (pa.concat_tables(found)[c.name].to_numpy() for c in columns)
    order = np.lexsort((row, received, key))
    if known_at is not None:
        order = order[received[order] <= known_at]
    was = _in_force(order[row[order] <= last], key, void)
    now = _in_force(order, key, void)
    return np.setdiff1d(row[was], row[now]), np.setdiff1d(row[now], row[was])


def _in_force(order: np.ndarray, key: np.ndarray, void: np.ndarray) -> np.ndarray:
    """Of versions in order of key and receipt the last of each key that is not withdrawn by it."""
    is_last = np.ones(len(order), dtype=bool)
    is_last[:-1] = key[order[1:]] != key[order[:-1]]
    newest = order[is_last]
    return newest[void[newest] == 0]


def _with(
    frame: pd.DataFrame, entry: Frame, cells: pa.Table, gone: np.ndarray, come: np.ndarray
) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
    """A frame without the rows that went and with those that came; and these rows themselves."""
    given = cells.filter(pc.equal(cells["void"], 0))  # a row that withdraws another may be blank
    try:
        every = entry.check(typed(given, entry))
    except UnknownWordError as unknown:
        raise StoreError(UNKNOWN_WORD.format(words=unknown.words)) from None
    kinds = {
        name: dtype_of_words(_words(frame, every, name), entry[name])
        for name in entry.names
        if isinstance(frame[name].dtype, pd.CategoricalDtype)
    }
    frame, every = (_recoded(part, kinds) for part in (frame, every))
    new = every[np.isin(every["row"].to_numpy(), come)]
    at = np.searchsorted(frame["row"].to_numpy(), gone)
    old = frame.iloc[at]
    bounds = [-1, *at.tolist(), len(frame)]
    kept = [frame.iloc[a + 1 : z] for a, z in pairwise(bounds)]
    parts = [part for part in (*kept, new) if len(part)]
    whole = pd.concat(parts, ignore_index=True) if parts else frame.iloc[:0]
    return whole, [old, new]


def _words(frame: pd.DataFrame, every: pd.DataFrame, name: str) -> set[str]:
    return {*frame[name].cat.categories, *every[name].cat.categories}


def _recoded(frame: pd.DataFrame, kinds: Mapping[str, Any]) -> pd.DataFrame:
    """Columns of codes over other words, where these are other ones than they have."""
    other = {name: kind for name, kind in kinds.items() if frame[name].dtype != kind}
    return frame.astype(other) if other else frame
