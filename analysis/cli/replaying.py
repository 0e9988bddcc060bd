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

from analysis.cli.opening import opened
from analysis.decisions.history import History, Versions, morning_of
from analysis.decisions.mornings import morning
from analysis.tables.backtest import MORNINGS

RECENT_MORNINGS = 28
"""Mornings replayed where none are named."""
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
    with opened(store_url) as store:
        stored = store.versions()
    by_table = {name: Versions.of(v.frame, v.key, v.void) for name, v in stored.items()}
    calls, arrangements = by_table.pop("calls"), by_table.pop("arrangements")
    return History(by_table, calls, arrangements)


def replay(store_url: str, policy_file: Path | None, days: Sequence[date]) -> pd.DataFrame:
    """Replay mornings, each by what was known before it began, in the order of the rules.

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
        replayed = pool.map(_some, [store_url] * processes, [policy_file] * processes, parts)
        return pd.concat(list(replayed), ignore_index=True)


def _some(store_url: str, policy_file: Path | None, days: Sequence[date]) -> pd.DataFrame:
    with opened(store_url) as store:
        policy = store.policy_for(policy_file)
    history = read_history(store_url)
    mornings = [
        morning(history.records(morning_of(day, policy), by=day), policy, day) for day in days
    ]
    return pd.concat(mornings, ignore_index=True) if mornings else MORNINGS.empty()
