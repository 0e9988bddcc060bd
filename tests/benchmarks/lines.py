"""How long does `linedays lines` take on a million log rows, against reading the same CSV?

Prints ratios and asserts nothing: ``python -m tests.benchmarks.lines [--families N]``. Files are
invented, ingested into a store of their own, and looked at as the command does.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pyarrow.csv as pa_csv

from analysis.ingest import ingest
from analysis.measures.lines import line_table
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Task
from synthetic_data import generate_blocks, write_canonical

AS_OF = date(2031, 3, 10)
REPEATS = 3


def timed(work: Callable[[], object]) -> float:
    """Shortest wall time of some repeats, in seconds."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, default=3800)
    families = parser.parse_args().families
    policy = shipped_policy()
    with tempfile.TemporaryDirectory() as folder:
        files = write_canonical(generate_blocks(families, until=AS_OF), Path(folder), "csv")
        logs = [path for path in files if path.name.startswith("home_log")]
        size = sum(path.stat().st_size for path in logs) / 2**20
        store = Store.open(f"sqlite:///{folder}/store.sqlite")

        def read_csv() -> int:
            return sum(pa_csv.read_csv(path).num_rows for path in logs)

        rows = read_csv()
        read = timed(read_csv)
        start = time.perf_counter()
        at = datetime(2031, 3, 10, tzinfo=UTC)
        ingest(store, files, policy, received_at=at, ingested_at=at)
        ingested = time.perf_counter() - start
        after_ingest = peak_mb()
        looked = timed(lambda: line_table(take(store, policy, AS_OF).timeline, Task.DRESSING).shape)
        called = timed(lambda: take(store, policy, AS_OF).calls)
        store.close()
    print(f"{rows} log rows, {size:.0f} MB; pyarrow reads them in {read:.2f} s")
    print(f"ingest {ingested / read:.1f} x, peak memory {after_ingest / size:.1f} x the file")
    print(f"lines {looked / read:.1f} x, peak memory {peak_mb() / size:.1f} x the file")
    print(f"call list, cold, {called:.2f} s: {called / read:.1f} x")


if __name__ == "__main__":
    main()
