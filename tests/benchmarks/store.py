"""How fast do a million log rows go into the store and come out again, and into a backup?

Prints seconds and ratios to what the same rows cost as a CSV parse (to text) and as a
Parquet read, measured warm and in turn with them. The Parquet read is done twice: by Arrow,
with the store's own typing, and by pandas, of the frame that the store gave. Run:

    python tests/benchmarks/store.py [--rows N] [--batch N] [--url URL] [--peak]
"""

from __future__ import annotations

import argparse
import io
import resource
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

from analysis.store import FileInfo, Store
from analysis.store.frames import typed
from analysis.store.schema import stored_columns
from analysis.tables.records import KNOWN

DAY = 86_400_000_000
RECEIVED_AT = 1_900_000_000_000_000


def accepted_rows(n: int, seed: int = 1) -> pa.Table:
    """Make a batch of home-log rows as the checks hand them over; keys and contents are random."""
    draw = np.random.default_rng(seed)

    def words(choices: list[str], share_blank: float) -> pa.Array:
        blank = draw.random(n) < share_blank
        dictionary = pa.DictionaryArray.from_arrays(
            pa.array(draw.integers(0, len(choices), n).astype(np.int32), mask=blank), choices
        )
        return dictionary.cast(pa.string())

    def codes(letter: str, numbers: np.ndarray) -> pa.Array:
        digits = pa.array(numbers + 100_000_000).cast(pa.string())
        return pc.binary_join_element_wise(letter, pc.utf8_slice_codeunits(digits, 1), "")

    def names(n_bytes: int) -> pa.Array:
        raw = draw.integers(0, 256, (n, n_bytes)).astype(np.uint8)
        return pa.Array.from_buffers(pa.binary(n_bytes), n, [None, pa.py_buffer(raw)])

    line = draw.integers(0, max(n // 50, 1), n)
    day = draw.integers(22_000, 22_365, n).astype(np.int32)
    kits = pa.array(draw.integers(0, 9, n), mask=draw.random(n) < 0.7)
    return pa.table(
        {
            "sheet": pa.nulls(n, pa.string()),
            "row_number": pa.array(np.arange(2, n + 2)),
            "received_at": pa.array(np.full(n, RECEIVED_AT)),
            "void": pa.array(np.zeros(n, dtype=bool)),
            "key": names(16),
            "content": names(16),
            "extra": pa.nulls(n, pa.string()),
            "doubts": words(["during_stay"], 0.99),
            "mends": pa.nulls(n, pa.int64()),
            "entry_id": codes("E", np.arange(n)),
            "line_id": codes("L", line),
            "family_id": codes("F", line // 2),
            "caregiver_id": codes("C", line),
            "done_on": pa.array(day),
            "done_at": pa.array(day.astype(np.int64) * DAY + DAY // 3),
            "kind": words(["dressing_change", "skin_check", "flush", "connector_change"], 0),
            "change_reason": words(["scheduled", "loose", "damp"], 0.7),
            "dressing_type": words(["transparent", "gauze"], 0.7),
            "dressing_condition": words(["intact", "loose"], 0.6),
            "findings": words(["none", "redness", "itch;redness"], 0.5),
            "steps_missed": words(["none", "mask;dry_time"], 0.6),
            "kits_left": kits,
            "note": words(["slept badly, will call", "ok"], 0.9),
        }
    )


def corrected(rows: pa.Table, every: int) -> pa.Table:
    """Give every so many rows another content, received a day later."""
    at = pa.array(np.arange(rows.num_rows) % every == 0)
    other = rows["content"].combine_chunks().take(pa.array(np.roll(np.arange(rows.num_rows), 1)))
    content = pc.if_else(at, other.cast(pa.binary()), rows["content"].cast(pa.binary()))
    received = pc.if_else(at, RECEIVED_AT + DAY, rows["received_at"])
    rows = rows.set_column(rows.column_names.index("content"), "content", content)
    return rows.set_column(rows.column_names.index("received_at"), "received_at", received)


def seconds(work: Callable[[], object]) -> float:
    """Measure one run."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def write(store: Store, rows: pa.Table, number: int, batch: int) -> None:
    """Store a file of these rows in batches."""
    info = FileInfo(f"log-{number}.csv", f"{number:064d}", 1, "", RECEIVED_AT, RECEIVED_AT)
    with store.writing(info) as writer:
        for start in range(0, rows.num_rows, batch):
            writer.add("home_log", rows.slice(start, batch))


def report(name: str, took: float, unit: float, of: str) -> None:
    print(f"{name:<52} {took:7.2f} s {took / unit:6.1f} x {of}", flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--batch", type=int, default=250_000)
    parser.add_argument("--url", help="an empty PostgreSQL database instead of an SQLite file")
    parser.add_argument("--peak", action="store_true", help="only write once and tell the memory")
    given = parser.parse_args()
    rows = accepted_rows(given.rows)
    own = [c.name for c in stored_columns("home_log")]
    buffer = io.BytesIO()
    pa_csv.write_csv(rows.select(own), buffer)
    csv = buffer.getvalue()
    as_text = pa_csv.ConvertOptions(column_types={name: pa.string() for name in own})

    def parse() -> object:
        return pa_csv.read_csv(pa.BufferReader(csv), convert_options=as_text)

    with tempfile.TemporaryDirectory() as folder:
        url = given.url or f"sqlite:///{folder}/store.sqlite"
        if given.peak:
            peak(url, rows, given.batch, len(csv))
            return
        parquet = Path(folder) / "log.parquet"
        frame = KNOWN["home_log"]
        numbered = rows.append_column("row", pa.array(np.arange(rows.num_rows)))
        pq.write_table(numbered.select(frame.names), parquet)

        def read_parquet() -> object:
            return typed(pq.read_table(parquet), frame)

        for warm_up in (parse, read_parquet):
            warm_up()
        with Store.open(url) as store:
            measure(store, rows, given.batch, parse, read_parquet, Path(folder))


def peak(url: str, rows: pa.Table, batch: int, size: int) -> None:
    """Print by how much storing the rows raised the process's peak memory."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with Store.open(url) as store:
        write(store, rows, 1, batch)
        wrote = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        store.records()
    read = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for name, grown in (("write", wrote - before), ("then read", read - wrote)):
        print(f"{name}: peak grew by {grown / 1024:.0f} MB = {grown * 1024 / size:.2f} x the CSV")


def measure(
    store: Store,
    rows: pa.Table,
    batch: int,
    parse: Callable[[], object],
    read_parquet: Callable[[], object],
    folder: Path,
) -> None:
    """Write, send again, correct and read, each beside its denominator."""
    parses = [seconds(parse) for _ in range(3)]
    first = seconds(lambda: write(store, rows, 1, batch))
    parses += [seconds(parse) for _ in range(3)]
    again = seconds(lambda: write(store, rows, 2, batch))
    parses += [seconds(parse) for _ in range(3)]
    frame_file = folder / "frame.parquet"
    store.records().home_log.to_parquet(frame_file)
    reads, parquet_reads, pandas_reads = [], [], []
    for _ in range(7):
        parquet_reads.append(seconds(read_parquet))
        pandas_reads.append(seconds(lambda: pd.read_parquet(frame_file)))
        reads.append(seconds(lambda: store.records().home_log))
    corrections = seconds(lambda: write(store, corrected(rows, 10), 3, batch))
    after = []
    for _ in range(3):
        parquet_reads.append(seconds(read_parquet))
        after.append(seconds(lambda: store.records().home_log))
    unit, parquet = statistics.median(parses), statistics.median(parquet_reads)
    by_pandas = statistics.median(pandas_reads)
    print(
        f"{rows.num_rows} rows; CSV parse {unit:.3f} s, Parquet read {parquet:.3f} s, by pandas "
        f"{by_pandas:.3f} s"
    )
    report("first time stored, one transaction", first, unit, "CSV parse")
    report("sent again, all the same as before", again, unit, "CSV parse")
    report("sent again, every tenth corrected", corrections, unit, "CSV parse")
    report("full read, typed frame", statistics.median(reads), parquet, "Parquet read")
    report("", statistics.median(reads), by_pandas, "Parquet read by pandas")
    report("full read after the corrections", statistics.median(after), parquet, "Parquet read")
    kept = folder / "all.zip"
    report("backup of all", seconds(lambda: store.backup(kept)), first, "first time stored")
    url = f"sqlite:///{folder}/restored.sqlite"
    took = seconds(lambda: Store.restored(url, kept).close())
    report("restored to an SQLite file", took, first, "first time stored")
    whole = kept.stat().st_size / parquet_size(store, folder)
    print(f"the backup is {whole:.1f} x the Parquet file of the known rows")


def parquet_size(store: Store, folder: Path) -> int:
    """Bytes of the rows in force as Parquet."""
    path = folder / "known.parquet"
    store.records().home_log.to_parquet(path, compression="zstd")
    return path.stat().st_size


if __name__ == "__main__":
    sys.exit(main())
