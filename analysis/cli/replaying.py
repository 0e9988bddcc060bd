"""How are many mornings replayed: every version read once, mornings shared between processes?"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter

import numpy as np
import pandas as pd

from analysis.cli.opening import opened
from analysis.decisions.history import History, Versions, morning_of
from analysis.decisions.mornings import morning
from analysis.policy import Policy
from analysis.tables.backtest import MORNINGS

RECENT_MORNINGS = 28
"""Mornings replayed where none are named."""
WORTH_A_PROCESS = 8.0
"""Seconds of work that are worth a further process, which takes some to start."""
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
    with opened(store_url) as store:
        policy = store.policy_for(policy_file)
    history = read_history(store_url)
    began = perf_counter()
    found = [_replayed(history, policy, day) for day in days[:1]]
    work = (perf_counter() - began) * (len(days) - 1)
    processes = min(os.cpu_count() or 1, MOST_PROCESSES, int(work / WORTH_A_PROCESS), len(days) - 1)
    if processes > 1:
        parts = [list(part) for part in np.array_split(np.array(days[1:], dtype=object), processes)]
        with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
            found += pool.map(_some, [store_url] * processes, [policy] * processes, parts)
    else:
        found += [_replayed(history, policy, day) for day in days[1:]]
    return pd.concat(found, ignore_index=True) if found else MORNINGS.empty()


def _some(store_url: str, policy: Policy, days: Sequence[date]) -> pd.DataFrame:
    history = read_history(store_url)
    return pd.concat([_replayed(history, policy, day) for day in days], ignore_index=True)


def _replayed(history: History, policy: Policy, day: date) -> pd.DataFrame:
    return morning(history.records(morning_of(day, policy), by=day), policy, day)
