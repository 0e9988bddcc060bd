"""Where is each part calculated: here one after the other, in processes, or on a cluster?

A runner gives the answers in the order of the parts, as they come, so that no more of them are in
memory than the caller keeps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from analysis.partitions.folder import PartitionsError

Work = Callable[[Path], Any]
Runner = Callable[[Work, Sequence[Path]], Iterator[Any]]


def in_turn(work: Work, parts: Sequence[Path]) -> Iterator[Any]:
    """Calculate one part after the other in this process."""
    return map(work, parts)


def in_processes(n: int) -> Runner:
    """Make a runner of `n` processes on this machine."""

    def run(work: Work, parts: Sequence[Path]) -> Iterator[Any]:
        # Started afresh: a copy of this process would hold all that it has in memory.
        with ProcessPoolExecutor(n, mp_context=get_context("spawn")) as pool:
            try:
                yield from pool.map(work, parts)
            except BrokenProcessPool:
                raise PartitionsError(
                    "A process that calculated a part was ended, perhaps for want of memory. Use "
                    "fewer --processes, or write more, smaller parts."
                ) from None

    return run


def on_cluster(address: str) -> Runner:
    """Make a runner of the workers of a Dask scheduler.

    The workers need the same version of linedays and the folder at the same path. A worker that is
    lost is no loss: its parts are calculated by another one.

    Raises
    ------
    PartitionsError
        The extra `cluster` is not installed, or nothing answers at the address.
    """
    try:
        from dask.distributed import Client
    except ImportError:
        raise PartitionsError(
            "A cluster needs the extra 'cluster': pip install 'linedays[cluster]'."
        ) from None

    def run(work: Work, parts: Sequence[Path]) -> Iterator[Any]:
        try:
            client = Client(address)
        except (OSError, ValueError) as fault:
            raise PartitionsError(f"No Dask scheduler answers at {address} ({fault}).") from None
        with client:
            # One path a task: a Dask data frame would split files, and with them families.
            futures = client.map(work, [part.absolute() for part in parts], pure=False)
            while futures:
                first = futures.pop(0)
                yield first.result()
                first.release()

    return run
