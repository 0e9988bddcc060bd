"""Do fifty signed-in people at ten thousand families get their answers while a file is ingested?

Prints errors, p50 and p95 by kind of question, at all times and while the file is ingested, and how
the server's memory grows; asserts nothing: ``python -m tests.benchmarks.load [--store FILE]
[--minutes 10] [--people 50] [--rows 100000]``. Each person asks, reads for a while and asks again, on
loopback; half-way a log of so many rows is ingested. A store that is named is copied first; without
one, ten thousand families are invented. A connection that was closed before the answer began is opened
again, as browsers do, and counted.
"""

from __future__ import annotations

import argparse
import http.client
import json
import math
import multiprocessing
import random
import socket
import sqlite3
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.config import DashboardConfig, Web
from dashboard.layout import ids
from dashboard.serving import serve
from tests.benchmarks import pages
from tests.served import Person
from tests.signed_in import PASSWORD, callback_request

READS_SECONDS = (2.0, 10.0)
"""How long a person reads between two questions, at least and at most."""
EVERY_SECONDS = 5.0
"""How often the memory is looked at."""


def copied(store: Path, folder: Path) -> str:
    """A copy of a store as of one moment, also while somebody writes to it."""
    file = folder / "store.sqlite"
    source, target = sqlite3.connect(f"file:{store}?mode=ro", uri=True), sqlite3.connect(file)
    with source, target:
        source.backup(target)
    source.close()
    target.close()
    return f"sqlite:///{file}"


def ingest_later(url: str, file: Path, seconds: float, during: Any) -> None:
    """In a process of its own: wait, then ingest the file; `during`: from when until when."""
    time.sleep(seconds)
    begun = during[0] = time.monotonic()
    with Store.open(url) as store:
        at = pages.NOW
        done = ingest(store, [file], shipped_policy(), received_at=at, ingested_at=at)
    during[1] = time.monotonic()
    print(f"ingest of {done.stored} rows took {during[1] - begun:.1f} s", flush=True)


def log_of(lines: list[str], day: datetime, file: Path, n_rows: int) -> Path:
    """A log of so many skin checks, over the lines in turn."""
    rows = (
        f"load{n},{lines[n % len(lines)]},{day - timedelta(minutes=n // 7):%Y-%m-%dT%H:%M},skin_check,none"
        for n in range(n_rows)
    )
    file.write_text("entry_id,line_id,done_at,kind,findings\n" + "\n".join(rows) + "\n")
    return file


def memory_of(server: multiprocessing.process.BaseProcess) -> float:
    """Megabytes that the server and its processes hold, what they share counted once."""
    pid = server.pid
    forks = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    total = 0
    for one in (str(pid), *forks):
        try:
            text = Path(f"/proc/{one}/smaps_rollup").read_text()
        except (FileNotFoundError, ProcessLookupError):  # it has just been replaced
            continue
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


def saved(person: Person, _: int) -> str:
    """The call list as a file, which is noted in the access log."""
    offered = {c["output"]: c for c in json.loads(person.get("/_dash-dependencies"))}
    asked = SimpleNamespace(callback_map=offered)
    output = f"{ids.DOWNLOAD}.data"
    values = {f"{ids.EXPORT_LIST}.data": 1, f"{ids.URL}.search": ""}
    status, answer = person.call_back(callback_request(asked, output, **values))
    assert status == 200, (status, answer[:300])
    assert "family_id" in answer
    return answer


def signed_in_and_out(person: Person, _: int) -> None:
    """The same person at another browser."""
    other = Person(person.port, person.code)
    try:
        assert other.sign_out() == 303
    finally:
        other.open.close()


class Crowd:
    """People who ask until the time is over."""

    def __init__(self, listed: list[str]) -> None:
        self.kinds: dict[str, Callable[[Person, int], object]] = {
            **pages.kinds_of(listed),
            "save as CSV": saved,
            "sign in and out": signed_in_and_out,
        }
        self.kinds.pop("plain file")
        self.taken: dict[str, list[tuple[float, float]]] = defaultdict(list)
        """When each answer was asked for, and the milliseconds that it took."""
        self.errors: dict[str, int] = defaultdict(int)
        self.asked_again = 0
        self.over = threading.Event()

    def ask(self, person: Person, seed: int) -> None:
        chance = random.Random(seed)
        while not self.over.wait(chance.uniform(*READS_SECONDS)):
            name = chance.choice(list(self.kinds))
            begun = time.monotonic()
            try:
                try:
                    self.kinds[name](person, 0)
                except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
                    self.asked_again += 1
                    person.connect()
                    self.kinds[name](person, 0)
            except (AssertionError, OSError) as fault:
                self.errors[f"{name}: {type(fault).__name__}"] += 1
                person.connect()
            self.taken[name].append((begun, 1000 * (time.monotonic() - begun)))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--store", type=Path, help="SQLite file as tests.benchmarks.pages makes it")
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--rows", type=int, default=100_000)
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
        file = log_of(at_home, now - timedelta(hours=1), folder / "home_log.csv", given.rows)
        context = multiprocessing.get_context("spawn")
        server = context.Process(target=served, args=(url, now, pages.PORT))
        server.start()
        during = context.Array("d", 2)
        writer = context.Process(target=ingest_later, args=(url, file, 30 * given.minutes, during))
        try:
            wait_for_server()
            people = [Person(pages.PORT, f"load{n}") for n in range(given.people)]
            crowd = Crowd(listed)
            threads = [
                threading.Thread(target=crowd.ask, args=(p, n)) for n, p in enumerate(people)
            ]
            writer.start()
            held = [(0.0, memory_of(server))]
            begun = time.monotonic()
            for one in threads:
                one.start()
            while (passed := time.monotonic() - begun) < 60 * given.minutes:
                held.append((passed, memory_of(server)))
                time.sleep(EVERY_SECONDS)
            crowd.over.set()
            for one in threads:
                one.join()
            held.append((time.monotonic() - begun, memory_of(server)))
            report(crowd, (during[0] or math.inf, during[1] or math.inf), held)
        finally:
            if writer.pid is not None:
                writer.join()
            server.terminate()
            server.join()


def report(crowd: Crowd, during: tuple[float, float], held: list[tuple[float, float]]) -> None:
    """Print what was found; `held`: seconds from the start, and megabytes."""
    every = [one for taken in crowd.taken.values() for one in taken]
    for name, taken in (*sorted(crowd.taken.items()), ("all", every)):
        meanwhile = [took for begun, took in taken if during[0] <= begun < during[1]]
        print(f"{name:<24}{figures([took for _, took in taken])}   ingest: {figures(meanwhile)}")
    print(f"errors {sum(crowd.errors.values())} {dict(crowd.errors)}")
    print(f"connections opened again {crowd.asked_again}")
    warm = next((megabytes for passed, megabytes in held if passed >= 60), held[-1][1])
    peak_at, peak = max(held, key=lambda one: one[1])
    print(
        f"memory {held[0][1]:.0f} MB at the start, {warm:.0f} MB after a minute, {peak:.0f} MB at "
        f"most (after {peak_at:.0f} s), {held[-1][1]:.0f} MB at the end"
    )


def figures(milliseconds: list[float]) -> str:
    """How many, and how long they took."""
    if not milliseconds:
        return f"{0:5d} asked"
    p50, p95 = np.percentile(milliseconds, [50, 95])
    return f"{len(milliseconds):5d} asked  p50 {p50:6.0f} ms  p95 {p95:6.0f} ms"


if __name__ == "__main__":
    main()
