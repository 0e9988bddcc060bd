"""How long does the ingest of a million dirty log rows take, and how much memory?

Prints ratios to a warm parse of the same file to text by `pyarrow.csv`, taken in turn with
the runs, and peak memory, less that of the smallest ingest, as a multiple of the file's size. Run:

    python tests/benchmarks/ingest.py [--rows N] [--repeats N]
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from analysis.cli.memory import POOL, return_memory_at_once
from analysis.ingest import IngestSummary, ingest
from analysis.policy import shipped_policy
from analysis.store import Added, FileInfo, Registry, Store

RECEIVED_AT = datetime(2032, 1, 10)  # noqa: DTZ001 - UTC
ROWS_A_LINE = 50


def write_lines(path: Path, n: int) -> None:
    """A registry of one line a family."""
    at = np.arange(n).astype(str)
    columns = {
        "line_id": np.char.add("L", at),
        "child_id": np.char.add("C", at),
        "family_id": np.char.add("F", at),
        "site": np.where(np.arange(n) % 2, "north", "south"),
        "line_type": np.full(n, "picc"),
        "placed_on": np.full(n, "2030-12-20"),
        "home_from": np.full(n, "2030-12-28"),
        "dressing_type": np.full(n, "transparent"),
    }
    write_csv(columns, path)


def write_log(path: Path, n: int, seed: int) -> None:
    """A log in which one row in twenty has something wrong, and many something odd."""
    draw = np.random.default_rng(seed)
    line = draw.integers(0, max(n // ROWS_A_LINE, 1), n)

    def some(words: list[str], blank: float) -> np.ndarray:
        picked = np.array(words)[draw.integers(0, len(words), n)]
        return np.where(draw.random(n) < blank, "", picked)

    day = (np.datetime64("2031-01-01") + draw.integers(0, 365, n)).astype(str)
    moment = np.datetime64("2031-01-01T00:00:00") + draw.integers(0, 365 * 86_400, n)
    done = np.where(draw.random(n) < 0.5, day, np.char.add(moment.astype(str), "+09:00"))
    columns = {
        "entry_id": np.where(draw.random(n) < 0.5, np.char.add("E", np.arange(n).astype(str)), ""),
        "line_id": np.char.add("L", line.astype(str)),
        "family_id": np.full(n, ""),
        "caregiver_id": np.char.add("P", (line * 2 + draw.integers(0, 2, n)).astype(str)),
        "done_at": done,
        "kind": some(["dressing_change", "skin_check", "connector_change", "flush", "note"], 0),
        "change_reason": some(["scheduled", "loose", "damp"], 0.5),
        "dressing_type": some(["transparent", "gauze"], 0.5),
        "dressing_condition": some(["intact", "loose", "soiled"], 0.4),
        "findings": some(["none", "redness", "redness;itch", "pus"], 0.3),
        "steps_missed": some(["none", "mask", "dry_time;mask"], 0.6),
        "kits_left": some(["0", "3", "4", "7"], 0.6),
        "note": some(["slept well", "went to the park, all fine", 'said "better"', "x"], 0.7),
    }
    spoil = {
        "done_at": ["03/04/2031", "2031-02-30", "", "2031-13-01T10:00"],
        "line_id": ["L999999999", ""],
        "kind": ["dresing_change", "bath"],
        "findings": ["rednes", "none;itch"],
        "kits_left": ["many", "-1"],
    }
    for column, words in spoil.items():
        at = np.flatnonzero(draw.random(n) < 0.01)
        cells = columns[column].astype(object)
        cells[at] = np.array(words, object)[draw.integers(0, len(words), len(at))]
        columns[column] = cells.astype(str)
    write_csv(columns, path)


def write_csv(columns: dict[str, np.ndarray], path: Path) -> None:
    """Write text columns; only cells that need quotation marks get them."""
    cells = []
    for values in columns.values():
        text = pa.array(values, pa.string())
        needs = pc.match_substring_regex(text, '[",\n]')
        quoted = pc.binary_join_element_wise('"', pc.replace_substring(text, '"', '""'), '"', "")
        cells.append(pc.if_else(needs, quoted, text))
    rows = pc.binary_join_element_wise(*cells, ",").to_pylist()
    path.write_text("\n".join([",".join(columns), *rows, ""]), encoding="utf-8")


class NoStore:
    """Takes rows and keeps nothing, so that only the way to the store is timed."""

    n_of_deleted = 0

    def __init__(self, registry: Registry) -> None:
        self._registry = registry

    def file_before(self, _sha256: str, _name: str) -> None:
        """No file was here before."""

    @contextmanager
    def writing(self, _info: FileInfo) -> Iterator[NoStore]:
        """Nothing is written."""
        yield self

    def registry(self) -> Registry:
        """The lines."""
        return self._registry

    def versions(self, _table: str, _keys: pa.Array) -> pa.Table:
        """No row was here before."""
        sixteen = pa.binary(16)
        return pa.table(
            {
                "key": pa.array([], sixteen),
                "content": pa.array([], sixteen),
                "received_at": pa.array([], pa.int64()),
                "file": pa.array([], pa.int64()),
                "family_id": pa.array([], pa.string()),
            }
        )

    def unknown_heads(self, _table: str) -> list[str]:
        """Every head is known."""
        return []

    def entries_like(self, _lines: pa.Array, _days: pa.Array) -> pa.Table:
        names = ("line_id", "done_on", "done_at", "kind", "content")
        return pa.table({name: pa.array([], pa.string()) for name in names})

    def connector_days(self, _lines: pa.Array, _first: int, _last: int) -> pa.Table:
        """No connector was changed before."""
        return pa.table({"line_id": pa.array([], pa.string()), "done_on": pa.array([], pa.int32())})

    def add(self, _table: str, accepted: pa.Table) -> Added:
        """Every row is new."""
        return Added(accepted.num_rows, 0)

    def keep_originals(self, _table: str, _sheet: str | None, _cells: pa.Table) -> None:
        """Nothing is stored."""

    def refuse(self, refused: pa.Table) -> int:
        """Every row is listed."""
        return refused.num_rows

    def count(self, *_: object, **__: object) -> None:
        """Nothing is counted."""


@dataclass(frozen=True)
class Spent:
    """Seconds of a run: on the clock, and of all processor cores together."""

    wall: float
    processor: float


@contextmanager
def timed(into: list[Spent]) -> Iterator[None]:
    """Note what a run spends."""
    wall, processor = time.perf_counter(), time.process_time()
    yield
    into.append(Spent(time.perf_counter() - wall, time.process_time() - processor))


def ratio_line(what: str, runs: list[Spent], bare: list[Spent]) -> str:
    """Best run beside the best parse, on the clock and in processor time."""
    wall, processor = (min(getattr(r, f) for r in runs) for f in ("wall", "processor"))
    of_wall, of_processor = (min(getattr(r, f) for r in bare) for f in ("wall", "processor"))
    return (
        f"{what:20} {wall:6.2f} s, ratio {wall / of_wall:5.1f}"
        f"   processor {processor:6.2f} s, ratio {processor / of_processor:5.1f}"
    )


def parse(path: Path) -> pa.Table:
    """The file as text columns."""
    with path.open(encoding="utf-8") as stream:
        names = stream.readline().strip().split(",")
    return pacsv.read_csv(
        path,
        convert_options=pacsv.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
    )


def into_sqlite(folder: Path, log: Path, lines: Path, spent: list[Spent]) -> IngestSummary:
    """Ingest the log into a new store that has the lines."""
    with (
        tempfile.TemporaryDirectory(dir=folder) as place,
        Store.open(f"sqlite:///{place}/store.sqlite") as store,
    ):
        ingest(store, lines, shipped_policy(), received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
        with timed(spent):
            return ingest(
                store, log, shipped_policy(), received_at=RECEIVED_AT, ingested_at=RECEIVED_AT
            )


def through_checks(registry: Registry, log: Path) -> None:
    """All that comes before the store."""
    double = NoStore(registry)
    ingest(double, log, shipped_policy(), received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)  # type: ignore[arg-type]


def main() -> None:
    """Generate, measure, print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rows", type=int, default=1_000_000)
    options.add_argument("--repeats", type=int, default=3)
    options.add_argument("--peak-of", nargs=3, metavar=("WHAT", "LOG", "LINES"))
    given = options.parse_args()
    if given.peak_of:
        what, log, lines = given.peak_of
        measure_peak(what, Path(log), Path(lines))
        return
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        log, lines = folder / "home_log.csv", folder / "lines.csv"
        write_lines(lines, max(given.rows // ROWS_A_LINE, 1))
        write_log(log, given.rows, seed=7)
        size = log.stat().st_size
        print(f"{given.rows:,} rows, {size / 1e6:.0f} MB")
        with Store.open(f"sqlite:///{place}/lines.sqlite") as store:
            ingest(store, lines, shipped_policy(), received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
            registry = store.registry()
        bare: list[Spent] = []
        before: list[Spent] = []
        stored: list[Spent] = []
        parse(log)
        for _ in range(given.repeats):
            with timed(bare):
                parse(log)
            with timed(before):
                through_checks(registry, log)
            with timed(bare):
                parse(log)
            summary = into_sqlite(folder, log, lines, stored)
        print(ratio_line("parse to text", bare, bare))
        print(ratio_line("before the store", before, bare))
        print(ratio_line("with SQLite", stored, bare))
        for count in summary.tables:
            print(count)
        smallest = 0
        for what in ("smallest", "check", "store"):
            ran = subprocess.run(
                [sys.executable, __file__, "--peak-of", what, str(log), str(lines)],
                check=True,
                capture_output=True,
                text=True,
                env={**os.environ, POOL: "system"},
            )
            peak = int(ran.stdout) * 1024
            smallest = smallest or peak
            ratio = (peak - smallest) / size
            print(f"peak memory, {what:8}{peak / 1e6:6.0f} MB  ratio {ratio:5.1f}")


def measure_peak(what: str, log: Path, lines: Path) -> None:
    """Print the peak resident memory (KiB) of a process that does one thing, as the command does it."""
    return_memory_at_once()
    if what == "smallest":
        with tempfile.TemporaryDirectory() as place:
            one = Path(place) / "lines.csv"
            write_lines(one, 1)
            into_sqlite(Path(place), one, one, [])
    elif what == "store":
        into_sqlite(log.parent, log, lines, [])
    elif what == "check":
        with (
            tempfile.TemporaryDirectory() as place,
            Store.open(f"sqlite:///{place}/lines.sqlite") as store,
        ):
            ingest(store, lines, shipped_policy(), received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
            through_checks(store.registry(), log)
    print(peak_kibibytes())


def peak_kibibytes() -> int:
    """Peak resident memory of this process; a child's usage may count its parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        peak = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(peak.split()[1])
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    main()
