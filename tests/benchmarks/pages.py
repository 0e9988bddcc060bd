"""How quickly do the pages answer with ten thousand families, to one person and to twenty?

Prints milliseconds and ratios, asserts nothing: ``python -m tests.benchmarks.pages [--families N]``.
The dashboard is served as `linedays serve` does, in a process of its own; people here ask again as
soon as they are answered, which is busier than any clinic, and they share the machine's cores with
the server. The ratio is to a plain file of the dashboard asked for by as many people at once; the
work is the processor time of the server for one answer. Two cores cannot give twenty people in a row
an answer sooner than in ten times that work: where it is below 12 ms they get it in 120 ms.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import multiprocessing
import os
import socket
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.config import DashboardConfig, Web
from dashboard.security.roles import PATHS, Page
from dashboard.serving import serve
from synthetic_data import generate_blocks, write_canonical
from tests.chromium import CHROMIUM
from tests.ports import free_port
from tests.served import Person
from tests.signed_in import PASSWORD

PORT = free_port()
ADDRESS = f"127.0.0.1:{PORT}"
EACH = 100
"""Questions of each kind by one person; twenty people put them together."""
PLAIN = "/assets/linedays.css"
NOW = datetime(2031, 3, 11, 9, tzinfo=UTC)


def milliseconds(
    work: Callable[[Person, int], bytes | str], person: Person, times: int
) -> list[float]:
    taken = []
    for turn in range(times):
        start = time.perf_counter()
        work(person, turn)
        taken.append(1000 * (time.perf_counter() - start))
    return taken


def together(
    work: Callable[[Person, int], bytes | str], people: list[Person], times: int
) -> np.ndarray:
    with ThreadPoolExecutor(len(people)) as pool:
        runs = pool.map(lambda person: milliseconds(work, person, times), people)
        return np.concatenate([*runs])


def prepared(folder: Path, families: int) -> tuple[str, list[str]]:
    """A store of invented logs up to yesterday with a person for each desk."""
    until = NOW.date() - timedelta(days=1)
    url = f"sqlite:///{folder}/store.sqlite"
    policy = shipped_policy()
    with Store.open(url) as store:
        if not store.people.all():
            files = write_canonical(generate_blocks(families, until=until), folder, "csv")
            ingest(store, files, policy, received_at=NOW - timedelta(hours=8), ingested_at=NOW)
            for number in range(20):
                store.people.add(f"N{number}", PASSWORD, Role.MANAGER, NOW, by="command line")
        calls = take(store, policy, NOW.date()).calls
    return url, calls.families["family_id"].astype(str).tolist()


def served(url: str, port: int, processes: int | None) -> None:
    """Serve the store on the morning."""
    serve(
        DashboardConfig(store_url=url, clock=lambda: NOW, web=Web(port=port)), processes=processes
    )


def work_of(server: multiprocessing.process.BaseProcess) -> float:
    """Milliseconds that the server and its processes have worked so far."""
    pid = server.pid
    forks = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    ticks = 0
    for one in (str(pid), *forks):
        fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        ticks += int(fields[11]) + int(fields[12])
    return 1000 * ticks / os.sysconf("SC_CLK_TCK")


def wait_for_server() -> None:
    for _ in range(600):
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", PORT), timeout=1).close()
            return
        time.sleep(0.1)
    raise SystemExit("The dashboard did not begin to answer.")


FIRST = {"/": "table.calls tbody tr", "/rates": "svg.small-figure", "/dwell": "main .summary"}
"""What is waited for: the first family; the small figures of the sites, which the server has drawn;
the sentence below the first figure. On all other pages it is the heading."""
BY_SCRIPT = ".main-svg"
"""A figure that the figures' library has drawn in the browser."""
SEEN = """([first, figure]) => new Promise((done) => {
  const wanted = { first, ...(figure && { figure }) };
  const seen = {};
  const frame = new MessageChannel();
  frame.port1.onmessage = () => {
    for (const name in wanted) {
      if (!(name in seen) && document.querySelector(wanted[name])) seen[name] = performance.now();
    }
    if (Object.keys(seen).length === Object.keys(wanted).length) done(seen);
    else window.requestAnimationFrame(() => frame.port2.postMessage(0));
  };
  frame.port2.postMessage(0);
})"""
"""Milliseconds since the page was asked for, each at the end of the first frame that shows it."""


def painted(signed_in: Person, paths: list[str]) -> None:
    """Time from asking for a page to what is seen first, in Chromium, files already kept."""
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        context = chromium.new_context(viewport={"width": 1440, "height": 900})
        about = {"domain": "127.0.0.1", "path": "/"}
        context.add_cookies(
            [{"name": n, "value": v, **about} for n, v in signed_in.cookies.items()]
        )
        for path in paths:
            wanted = [FIRST.get(path, "main h1"), BY_SCRIPT if path in {"/rates", "/dwell"} else ""]
            taken = []
            for _ in range(6):
                page = context.new_page()
                page.add_init_script(f"window.seen = ({SEEN})({json.dumps(wanted)})")
                page.goto(f"http://{ADDRESS}{path}", wait_until="commit")
                taken.append(page.evaluate("window.seen"))
                page.close()
            line = f"{path:<18} first useful paint ({wanted[0]}) "
            line += f"{min(seen['first'] for seen in taken):6.0f} ms"
            if wanted[1]:
                line += f", first figure by script {min(seen['figure'] for seen in taken):6.0f} ms"
            print(line, flush=True)
        chromium.close()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, default=10_000)
    parser.add_argument("--folder", type=Path, help="where the store is kept and found again")
    parser.add_argument("--processes", type=int, help="as of linedays serve")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        url, listed = prepared(given.folder or Path(folder), given.families)
        print(f"{given.families} families, {len(listed)} of them listed")
        server = multiprocessing.get_context("spawn").Process(
            target=served, args=(url, PORT, given.processes)
        )
        begun = time.perf_counter()
        server.start()
        try:
            wait_for_server()
            print(f"answers after {time.perf_counter() - begun:.1f} s")
            people = [Person(PORT, f"N{number}") for number in range(20)]
            kinds = kinds_of(listed)
            base: dict[int, float] = {}
            for name, work in kinds.items():
                start = time.perf_counter()
                size = len(work(people[0], 0))
                cold = 1000 * (time.perf_counter() - start)
                together(work, people, 2)  # each process has answered it once
                line = f"{name:<26}{size / 1000:5.0f} kB  first {cold:6.0f} ms"
                for crowd in (1, 20):
                    times = EACH if crowd == 1 else EACH // 5
                    before = work_of(server)
                    taken = together(work, people[:crowd], times)
                    worked = (work_of(server) - before) / (crowd * times)
                    p50, p95 = np.percentile(taken, [50, 95])
                    base.setdefault(crowd, p50)
                    line += f"  {crowd:>2} at once: p50 {p50:5.0f} p95 {p95:5.0f} ms"
                    line += f" ({p50 / base[crowd]:5.1f} x), work {worked:5.1f} ms"
                print(line, flush=True)
            painted(people[0], [*pages()])
        finally:
            server.terminate()
            server.join()


def pages() -> dict[str, str]:
    """Paths of all pages but single families, with their names."""
    return {path: str(page) for page, path in PATHS.items() if page is not Page.FAMILY}


def kinds_of(listed: list[str]) -> dict[str, Callable[[Person, int], bytes | str]]:
    """What is asked; families one after the other, so that most are opened for the first time."""

    def asks(path: str) -> Callable[[Person, int], str]:
        return lambda person, _: person.page(path)

    kinds: dict[str, Callable[[Person, int], bytes | str]] = {
        "plain file": lambda person, _: person.get(PLAIN)
    }
    kinds |= {name: asks(path) for path, name in pages().items()}
    turns = itertools.count()

    def another() -> str:
        return listed[next(turns) % len(listed)]

    kinds["calls, a family opened"] = lambda person, _: person.page("/", f"?family={another()}")
    kinds["family"] = lambda person, _: person.page(f"/family/{another()}")
    kinds["family, seen before"] = lambda person, _: person.page(f"/family/{listed[0]}")
    return kinds


if __name__ == "__main__":
    main()
