"""What do partitions cost: written out of a store, and calculated whole, in turn, in processes?

The tallies of all families are calculated in every way, each in a process of its own, and have to
be equal to the last bit. ``--copies`` writes the programme several times under other codes, which
makes ten or a hundred million log rows of a small store; the sums of all copies have to be those of
one, so many times. Prints seconds, rows a second and the peak memory of all processes together;
asserts nothing but equality. Run from the project's folder:

    python -m tests.benchmarks.partitions [--families N | --store FILE] [--copies N] [--parts N]

``--cluster`` also runs a Dask cluster on this machine (extra `cluster`); ``--no-whole`` leaves out
the calculation of all rows at once, which needs the most memory; ``--in-turn`` runs nothing but the
parts in turn.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from analysis.partitions import (
    Partitions,
    Runner,
    in_processes,
    in_turn,
    on_cluster,
    opened,
    tallies_of_parts,
    write_partitions,
)
from analysis.partitions.folder import MANIFEST, read_part
from analysis.policy import shipped_policy
from analysis.snapshot import end_of_day
from analysis.store import Store
from analysis.tables import KNOWN, Records
from analysis.tables.kinds import Kind
from analysis.tallies import Tallies, tally
from analysis.timeline import build
from synthetic_data import generate_blocks, write_canonical
from tests.benchmarks.other_tools.with_linedays import fill

AS_OF = date(2031, 3, 10)
PROCESSES = 2
CODES = ("line_id", "child_id", "family_id", "caregiver_id", "entry_id")
ROWS_OF_A_COPY = 10**9
FRAMES = ("lines", "days", "events", "onsets")


def write(store: Path, folder: Path, parts: int) -> None:
    """Write the programme of the store, copy 0."""
    moment = end_of_day(AS_OF, shipped_policy())
    with (
        Store.open(f"sqlite:///{store}", create=False) as opened_store,
        opened_store.streamed(moment) as found,
    ):
        write_partitions(folder / "0", found.without_log, found.log, [], moment, None, parts)


def write_copies(folder: Path, copies: int) -> None:
    """Write copy 0 again under other codes, each copy in partitions of its own."""
    for nth in range(1, copies):
        for file in (folder / "0").rglob("*"):
            copy = folder / str(nth) / file.relative_to(folder / "0")
            if file.suffix == ".parquet":
                copy.parent.mkdir(parents=True, exist_ok=True)
                pq.write_table(marked(pq.read_table(file), nth), copy, compression="zstd")
        shutil.copy(folder / "0" / MANIFEST, folder / str(nth))


def marked(rows: pa.Table, nth: int) -> pa.Table:
    """The rows of a copy."""
    for name in {*CODES}.intersection(rows.column_names):
        codes = pc.binary_join_element_wise(rows[name], f"-{nth}", "")
        rows = rows.set_column(rows.column_names.index(name), name, codes)
    row = pc.add(rows["row"], nth * ROWS_OF_A_COPY)
    return rows.set_column(rows.column_names.index("row"), "row", row)


def partitions_in(folder: Path) -> Partitions:
    """All copies as one programme."""
    copies = [opened(path) for path in sorted(folder.iterdir(), key=lambda path: int(path.name))]
    return replace(copies[0], parts=tuple(part for copy in copies for part in copy.parts))


def digest(tallies: Tallies) -> dict[str, Any]:
    """One word for every bit of the tallies, and the sums of all their counts."""
    found = hashlib.sha256()
    for name in FRAMES:
        found.update(pd.util.hash_pandas_object(getattr(tallies, name)).to_numpy().tobytes())
    sums = {
        f"{group} {column}": int(count)
        for frame, by in ((tallies.days, "task"), (tallies.events, "event"))
        for column, counts in frame.drop(columns=["line", "age_band"])
        .groupby(by, observed=True)
        .sum(numeric_only=True)
        .items()
        for group, count in counts.items()
    }
    return {"digest": found.hexdigest(), "sums": {"lines": len(tallies.lines), **sums}}


def whole(folder: Path) -> dict[str, Any]:
    """All rows in memory at once."""
    records = [read_part(part) for part in partitions_in(folder).parts]
    frames = {
        name: pd.concat([getattr(part, name) for part in records], ignore_index=True)
        for name in KNOWN
    }
    for name, frame in frames.items():
        codes = [column.name for column in KNOWN[name].columns if column.kind is Kind.CODE]
        frames[name] = frame.astype(dict.fromkeys(codes, "category"))
    policy = shipped_policy()
    del records
    return digest(tally(build(Records.of(frames), policy, AS_OF), policy))


def by_parts(found: Partitions, run: Runner) -> dict[str, Any]:
    """The parts one by one."""
    return digest(tallies_of_parts(found, AS_OF, run).value)


def local_cluster() -> AbstractContextManager[Any]:
    """A Dask cluster on this machine."""
    from dask.distributed import LocalCluster

    return LocalCluster(n_workers=PROCESSES, threads_per_worker=1, dashboard_address=None)


def way(name: str, store: Path, folder: Path, copies: int, parts: int) -> dict[str, Any]:
    """Calculate in one way; returns the digest and the sums."""
    if name == "write":
        write(store, folder, parts)
        return {}
    if name == "copies":
        write_copies(folder, copies)
        return {}
    if name == "whole":
        return whole(folder)
    if name == "one copy":
        return by_parts(opened(folder / "0"), in_turn)
    with local_cluster() if name == "cluster" else nullcontext() as cluster:
        runners: dict[str, Callable[[], Runner]] = {
            "in turn": lambda: in_turn,
            "processes": lambda: in_processes(PROCESSES),
            "cluster": lambda: on_cluster(cluster.scheduler_address),
        }
        return by_parts(partitions_in(folder), runners[name]())


def in_a_process(name: str, *asked: object) -> dict[str, Any]:
    """Calculate in one way in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.partitions", "--one", name]
    command += [str(word) for word in asked]
    began = time.perf_counter()
    printed = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout
    return {**json.loads(printed.splitlines()[-1]), "seconds": time.perf_counter() - began}


def measured(
    store: Path, folder: Path, copies: int, parts: int, ways: Sequence[str]
) -> dict[str, Any]:
    """Write the partitions and calculate them in some ways.

    Raises
    ------
    SystemExit
        Two ways gave different bits, or the copies other sums than one so many times.
    """
    asked = (store, folder, copies, parts)
    costs = {name: in_a_process(name, *asked) for name in ("write", "copies", *ways)}
    digests = {costs[name].pop("digest") for name in ways}
    sums = [costs[name].pop("sums") for name in ways]
    if len(digests) != 1:
        raise SystemExit("the ways gave different bits")
    of_one = in_a_process("one copy", *asked)["sums"]
    if sums[0] != {name: copies * count for name, count in of_one.items()}:
        raise SystemExit("the copies gave other sums than one copy so many times")
    of_parts = [p["rows"] for p in json.loads((folder / "0" / MANIFEST).read_text())["parts"]]
    n_rows = sum(rows["home_log"] for rows in of_parts)
    del costs["copies"]
    for name, cost in costs.items():
        cost["log_rows"] = n_rows * (1 if name == "write" else copies)
    return {
        "log_rows": n_rows * copies,
        "lines": sum(rows["lines"] for rows in of_parts) * copies,
        "parts": len(of_parts) * copies,
        "disk_mb": sum(path.stat().st_size for path in folder.rglob("*.parquet")) / 2**20,
        "ways": costs,
    }


def show(found: dict[str, Any]) -> None:
    """Print one run."""
    print(
        f"\n{found['log_rows']:,} log rows, {found['lines']:,} lines in {found['parts']} parts, "
        f"{found['disk_mb']:.0f} MB; equal bits in every way"
    )
    for name, cost in found["ways"].items():
        a_second = cost["log_rows"] / cost["seconds"]
        print(
            f"{name:<10} {cost['seconds']:6.1f} s {a_second:10,.0f} rows/s {cost['peak_mb']:6.0f} MB"
        )


def one(name: str, store: str, folder: str, copies: str, parts: str) -> None:
    """In a process of its own: print what was found and the peak memory of all its processes."""
    found = way(name, Path(store), Path(folder), int(copies), int(parts))
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    children = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    n_children = PROCESSES if name in {"processes", "cluster"} else 0
    print(json.dumps({**found, "peak_mb": (own + n_children * children) / 1024}))


def main() -> None:
    """Measure an invented programme or a store."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, default=2000)
    parser.add_argument("--store", type=Path)
    parser.add_argument("--copies", type=int, default=1)
    parser.add_argument("--parts", type=int, default=8)
    parser.add_argument("--cluster", action="store_true")
    parser.add_argument("--no-whole", action="store_true")
    parser.add_argument("--in-turn", action="store_true")
    parser.add_argument("--one", nargs=5, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one is not None:
        one(*asked.one)
        return
    ways = ["in turn", "processes", *(["cluster"] if asked.cluster else [])]
    if not asked.no_whole:
        ways.insert(0, "whole")
    if asked.in_turn:
        ways = ["in turn"]
    with tempfile.TemporaryDirectory() as temporary:
        store = asked.store
        if store is None:
            files, store = Path(temporary) / "files", Path(temporary) / "store.sqlite"
            write_canonical(generate_blocks(asked.families, until=AS_OF), files, "csv")
            fill(store, files, AS_OF)
        folder = Path(temporary) / "parts"
        folder.mkdir()
        show(measured(store, folder, asked.copies, asked.parts, ways))


if __name__ == "__main__":
    main()
