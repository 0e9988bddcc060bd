"""How are many mornings replayed: every version read once, mornings shared between processes?"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import date
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter

import pandas as pd

from analysis.cli.opening import opened
from analysis.cli.progress import counting
from analysis.days import day_number
from analysis.decisions.history import History, Versions, microseconds, morning_of
from analysis.decisions.mornings import morning
from analysis.decisions.recent_entries import without_replaced
from analysis.policy import Policy
from analysis.snapshot import Snapshot
from analysis.store.every_version import EveryVersion
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
    by_table = _in_order(stored)
    calls, arrangements = by_table.pop("calls"), by_table.pop("arrangements")
    return History(by_table, calls, arrangements)


def recent_history(store_url: str, seen: Snapshot, days: Sequence[date]) -> History:
    """Every version of the rows that the lists of some mornings can depend on, the oldest first.

    Most of them are in the snapshot; where it leaves out what a morning knew, all are read.

    Raises
    ------
    StoreError
        The store is locked.
    """
    if seen.known_at < morning_of(days[-1], seen.policy):
        return read_history(store_url)
    with opened(store_url) as store:
        revised = _in_order(store.revised())
    known_at = microseconds(morning_of(days[0], seen.policy))
    lines = Versions.of_known(seen.records.lines, revised["lines"])
    log, first = seen.records.home_log, day_number(days[0])
    log = without_replaced(log, revised["home_log"], lines, known_at, first, seen.policy)
    return History.of_known(replace(seen.records, home_log=log), revised)


def _in_order(stored: Mapping[str, EveryVersion]) -> dict[str, Versions]:
    return {name: Versions.of(every.frame, every.key, every.void) for name, every in stored.items()}


def replay(store_url: str, policy_file: Path | None, days: Sequence[date]) -> pd.DataFrame:
    """Replay mornings, each by what was known before it began, in the order of the rules.

    Returns
    -------
    DataFrame
        Columns of `MORNINGS`, the mornings in the order given.
    """
    with opened(store_url) as store:
        policy = store.policy_for(policy_file)
    with counting("replaying mornings", len(days)) as done:
        found = []
        for morning_replayed in _each(store_url, policy, days):
            found.append(morning_replayed)
            done()
    return pd.concat(found, ignore_index=True) if found else MORNINGS.empty()


def _each(store_url: str, policy: Policy, days: Sequence[date]) -> Iterator[pd.DataFrame]:
    """Each morning as soon as it and those before it are replayed."""
    history = read_history(store_url)
    began = perf_counter()
    for day in days[:1]:
        yield _replayed(history, policy, day)
    work = (perf_counter() - began) * (len(days) - 1)
    processes = min(os.cpu_count() or 1, MOST_PROCESSES, int(work / WORTH_A_PROCESS), len(days) - 1)
    if processes <= 1:
        for day in days[1:]:
            yield _replayed(history, policy, day)
        return
    start = (store_url, policy)
    pool = ProcessPoolExecutor(processes, get_context("spawn"), _start_process, start)
    try:
        yield from pool.map(_in_process, days[1:])
    finally:
        # Stopped from the keyboard, mornings that have not begun are left.
        pool.shutdown(wait=False, cancel_futures=True)


_OF_PROCESS: dict[str, tuple[History, Policy]] = {}


def _start_process(store_url: str, policy: Policy) -> None:
    """Read the history once in a process, which the keyboard stops through the first process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _OF_PROCESS["own"] = read_history(store_url), policy


def _in_process(day: date) -> pd.DataFrame:
    return _replayed(*_OF_PROCESS["own"], day)


def _replayed(history: History, policy: Policy, day: date) -> pd.DataFrame:
    return morning(history.records(morning_of(day, policy), by=day), policy, day)
