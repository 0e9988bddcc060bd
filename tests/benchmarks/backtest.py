"""How long is a replay of past mornings, as a multiple of one day's call list? Prints; run as

    python -m tests.benchmarks.backtest [families] [mornings]

It makes a programme, stores it in a folder that goes away, and replays its last mornings: every
version read once, then one list a morning by what was known. A year is reckoned from the mornings
replayed. Seeded.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from analysis.cli.replaying import read_history, replay
from analysis.decisions.backtest import backtest, calibration, preceded
from analysis.decisions.history import morning_of
from analysis.decisions.later_events import KINDS, later_events
from analysis.decisions.replayed import Replayed
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.timeline import build
from synthetic_data import generate_blocks, write_canonical

UNTIL = date(2031, 3, 10)


def stored(folder: Path, families: int) -> str:
    """Make a programme and store it; returns the store's URL."""
    blocks = generate_blocks(families, until=UNTIL, seed=1)
    write_canonical(blocks, folder / "files", "parquet")
    url = f"sqlite:///{folder / 'store.sqlite'}"
    with Store.open(url) as store:
        at = datetime(UNTIL.year, UNTIL.month, UNTIL.day, 5, tzinfo=UTC)
        ingest(store, [folder / "files"], shipped_policy(), received_at=at, ingested_at=at)
    return url


def main(families: int, mornings: int) -> None:
    """Print ratios, then the figures of the replay."""
    policy = shipped_policy()
    with tempfile.TemporaryDirectory() as folder:
        url = stored(Path(folder), families)
        last = UNTIL - timedelta(days=8)
        days = [last - timedelta(days=n) for n in range(mornings)][::-1]
        with Store.open(url) as store:
            begun = time.perf_counter()
            listed = take(store, policy, last).calls
            one = time.perf_counter() - begun
        begun = time.perf_counter()
        history = read_history(url)
        read = time.perf_counter() - begun
        begun = time.perf_counter()
        told = replay(url, None, days)
        replayed_in = time.perf_counter() - begun
        records = history.records(morning_of(UNTIL, policy))
        events = later_events(build(records, policy, UNTIL), records)
        begun = time.perf_counter()
        by_kind = [Replayed.of(told, events, kind) for kind in KINDS]
        tables = [backtest(replayed, 25, recheck_days=2) for replayed in by_kind]
        tables += [preceded(Replayed.of(told, events)), calibration(by_kind[0])]
        judged = time.perf_counter() - begun
    each = max(replayed_in - read, 0) / mornings
    year = read + 365 * each
    print(f"{families} families, {len(told) // mornings} at home, {len(listed.families)} listed")
    print(f"one day's list from the store, cold: {one:.2f} s")
    print(f"{mornings} mornings replayed: {replayed_in / one:.1f} of it ({replayed_in:.1f} s)")
    print(
        f"a further morning: {each / one:.2f} of it; a year: {year / one:.0f} ({year / 60:.1f} min)"
    )
    print(f"figures of these mornings: {judged / one:.2f} of it\n")
    for table in tables:
        print(table.T.to_string(header=False), "\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("families", nargs="?", type=int, default=1000)
    parser.add_argument("mornings", nargs="?", type=int, default=28)
    options = parser.parse_args()
    main(options.families, options.mornings)
