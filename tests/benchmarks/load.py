"""Do fifty signed-in people at ten thousand families get their answers while a file is ingested?

Prints errors, p50 and p95 by kind of question, and how the server's memory grows; asserts nothing:
``python -m tests.benchmarks.load [--store FILE] [--minutes 10] [--people 50]``. Each person asks, reads
for a while and asks again, on loopback; half-way a log of a hundred thousand rows is ingested. A store
that is named is copied first; without one, ten thousand families are invented.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import socket
import sqlite3
import tempfile
import threading
import time
from collections import defaultdict
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.config import DashboardConfig, Web
from dashboard.serving import serve
from tests.benchmarks import pages
from tests.served import Person
from tests.signed_in import PASSWORD

READS_SECONDS = (2.0, 10.0)
"""How long a person reads between two questions, at least and at most."""
LOGGED_ROWS = 100_000


def copied(store: Path, folder: Path) -> str:
    """A copy of a store as of one moment, also while somebody writes to it."""
    file = folder / "store.sqlite"
    source, target = sqlite3.connect(f"file:{store}?mode=ro", uri=True), sqlite3.connect(file)
    with source, target:
        source.backup(target)
    source.close()
    target.close()
    return f"sqlite:///{file}"


def ingest_later(url: str, file: Path, seconds: float) -> None:
    """In a process of its own: wait, then ingest the file."""
    time.sleep(seconds)
    begun = time.perf_counter()
    with Store.open(url) as store:
        at = pages.NOW
        done = ingest(store, [file], shipped_policy(), received_at=at, ingested_at=at)
    print(f"ingest of {done.stored} rows took {time.perf_counter() - begun:.1f} s", flush=True)


def log_of(lines: list[str], day: datetime, file: Path) -> Path:
    """A log of so many skin checks, over the lines in turn."""
    rows = (
        f"load{n},{lines[n % len(lines)]},{day - timedelta(minutes=n // 7):%Y-%m-%dT%H:%M},skin_check,none"
        for n in range(LOGGED_ROWS)
    )
    file.write_text("entry_id,line_id,done_at,kind,findings\n" + "\n".join(rows) + "\n")
    return file


def memory_of(server: multiprocessing.process.BaseProcess) -> float:
    """Megabytes that the server and its processes hold, what they share counted once."""
    pid = server.pid
    forks = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    total = 0
    for one in (str(pid), *forks):
        text = Path(f"/proc/{one}/smaps_rollup").read_text()
        total += int(next(line.split()[1] for line in text.splitlines() if line.startswith("Pss:")))
    return total / 1000


def served(url: str, moment: datetime, port: int) -> None:
    """Serve the store as `linedays serve` does, at a moment."""
    serve(DashboardConfig(store_url=url, web=Web(port=port), clock=lambda: moment))


def wait_for_server() -> None:
    """A large store takes its time to be read before the first answer."""
    for _ in range(1200):
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", pages.PORT)) == 0:
                return
        time.sleep(0.5)
    raise SystemExit("The dashboard did not begin to answer.")


class Crowd:
    """People who ask until the time is over."""

    def __init__(self, listed: list[str]) -> None:
        self.kinds = pages.kinds_of(listed)
        self.kinds.pop("plain file")
        self.taken: dict[str, list[float]] = defaultdict(list)
        self.errors: dict[str, int] = defaultdict(int)
        self.over = threading.Event()

    def ask(self, person: Person, seed: int) -> None:
        chance = random.Random(seed)
        while not self.over.wait(chance.uniform(*READS_SECONDS)):
            name = chance.choice(list(self.kinds))
            begun = time.perf_counter()
            try:
                self.kinds[name](person, 0)
            except (AssertionError, OSError) as fault:
                self.errors[f"{name}: {type(fault).__name__}"] += 1
                person.connect()
            self.taken[name].append(1000 * (time.perf_counter() - begun))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--store", type=Path, help="SQLite file as tests.benchmarks.pages makes it")
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--people", type=int, default=50)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        url = copied(given.store, folder) if given.store else pages.prepared(folder, 10_000)[0]
        now = pages.NOW
        with Store.open(url) as store:
            for number in range(given.people):
                store.people.add(f"load{number}", PASSWORD, Role.MANAGER, now, by="command line")
            found = take(store, shipped_policy(), now.date())
            listed = found.calls.families["family_id"].astype(str).tolist()
            lines = found.timeline.lines
            at_home = lines.loc[lines["at_home"], "line_id"].astype(str).tolist()
        file = log_of(at_home, now - timedelta(hours=1), folder / "home_log.csv")
        context = multiprocessing.get_context("spawn")
        server = context.Process(target=served, args=(url, now, pages.PORT))
        server.start()
        writer = context.Process(target=ingest_later, args=(url, file, 30 * given.minutes))
        try:
            wait_for_server()
            people = [Person(pages.PORT, f"load{n}") for n in range(given.people)]
            crowd = Crowd(listed)
            threads = [
                threading.Thread(target=crowd.ask, args=(p, n)) for n, p in enumerate(people)
            ]
            writer.start()
            before = memory_of(server)
            for one in threads:
                one.start()
            time.sleep(60 * given.minutes)
            crowd.over.set()
            for one in threads:
                one.join()
            report(crowd, before, memory_of(server))
        finally:
            if writer.pid is not None:
                writer.join()
            server.terminate()
            server.join()


def report(crowd: Crowd, before: float, after: float) -> None:
    for name, taken in sorted(crowd.taken.items()):
        p50, p95 = np.percentile(taken, [50, 95])
        print(f"{name:<26}{len(taken):6d} asked  p50 {p50:6.0f} ms  p95 {p95:6.0f} ms")
    every = np.concatenate([*crowd.taken.values()])
    p50, p95 = np.percentile(every, [50, 95])
    print(f"{'all':<26}{len(every):6d} asked  p50 {p50:6.0f} ms  p95 {p95:6.0f} ms")
    print(f"errors {sum(crowd.errors.values())} {dict(crowd.errors)}")
    print(f"memory {before:.0f} MB at the start, {after:.0f} MB at the end")


if __name__ == "__main__":
    main()
