"""How are many mornings replayed: every version read once, mornings shared between processes?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analysis.decisions.history import History, Versions, morning_of
from analysis.decisions.mornings import morning
from analysis.policy import load_policy
from analysis.store import bulk
from analysis.store.database import open_database
from analysis.store.frames import typed
from analysis.store.schema import ROWS, calls, stored_columns
from analysis.tables.backtest import MORNINGS
from analysis.tables.incoming import INCOMING
from analysis.tables.records import KNOWN

ALONE = 14
"""Mornings that are not worth a further process."""
MOST_PROCESSES = 4


def read_history(store_url: str) -> History:
    """Read every version of every row.

    Raises
    ------
    StoreError
        The store does not exist, is locked, or is newer than this program.
    """
    database = open_database(store_url, create=False)
    try:
        with database.reading() as connection:
            tables = {name: _versions(connection, name) for name in INCOMING}
            recorded = bulk.fetch(connection, sa.select(*calls.c))
    finally:
        database.engine.dispose()
    back = recorded["takes_back"].to_pandas()
    taken_back = back.notna().to_numpy()
    frame = typed(recorded, KNOWN["calls"]).assign(
        received_at=recorded["made_at"].to_numpy().astype("datetime64[us]")
    )
    key = np.where(taken_back, back.fillna(-1), frame["row"]).astype(np.int64)
    return History(tables, Versions.of(frame, key, taken_back))


def _versions(connection: sa.Connection, name: str) -> Versions:
    rows = ROWS[name]
    columns = ["row", "received_at", *(c.name for c in stored_columns(name)), "key_row", "void"]
    query = sa.select(*(rows.c[c] for c in columns))
    table = bulk.fetch(connection, query)
    void = table["void"].to_numpy() != 0
    return Versions.of(typed(table, KNOWN[name]), table["key_row"].to_numpy(), void)


def replay(store_url: str, policy_file: Path | None, days: Sequence[date]) -> pd.DataFrame:
    """Replay mornings, each by what was known before it began.

    Returns
    -------
    DataFrame
        Columns of `MORNINGS`, the mornings in the order given.
    """
    processes = min(os.cpu_count() or 1, MOST_PROCESSES, max(len(days) // ALONE, 1))
    if processes == 1:
        return _some(store_url, policy_file, days)
    parts = [list(part) for part in np.array_split(np.array(days, dtype=object), processes)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        told = pool.map(_some, [store_url] * processes, [policy_file] * processes, parts)
        return pd.concat(list(told), ignore_index=True)


def _some(store_url: str, policy_file: Path | None, days: Sequence[date]) -> pd.DataFrame:
    policy, history = load_policy(policy_file), read_history(store_url)
    mornings = [
        morning(history.records(morning_of(day, policy), by=day), policy, day) for day in days
    ]
    return pd.concat(mornings, ignore_index=True) if mornings else MORNINGS.empty()
