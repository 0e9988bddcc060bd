"""How quickly do the pages answer with ten thousand families, to one person and to twenty?

Prints milliseconds and ratios, asserts nothing: ``python -m tests.benchmarks.pages [--families N]``.
The dashboard is served as `linedays serve` does, in a process of its own; people here ask again as
soon as they are answered, which is busier than any clinic, and they share the machine's cores with
the server. The ratio is to a plain file of the dashboard asked for by as many people at once.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import multiprocessing
import re
import socket
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
from playwright.sync_api import sync_playwright

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.snapshot import take
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.config import DashboardConfig
from dashboard.serving import serve
from synthetic_data import generate_blocks, write_canonical
from tests.signed_in import PASSWORD, page_request

PORT = 8977
ADDRESS = f"127.0.0.1:{PORT}"
EACH = 100
"""Questions of each kind by one person; twenty people put them together."""
PLAIN = "/assets/linedays.css"
NOW = datetime(2031, 3, 11, 9, tzinfo=UTC)


class Person:
    """One signed-in browser that keeps its connection and its cookies."""

    def __init__(self, code: str) -> None:
        self.open = http.client.HTTPConnection("127.0.0.1", PORT, timeout=120)
        self.cookies: dict[str, str] = {}
        page = self.send("GET", "/sign-in")[1].decode()
        token = re.search(r'name="csrf_token" value="([^"]+)"', page)
        assert token is not None
        form = {"code": code, "password": PASSWORD, "to": "/", "csrf_token": token[1]}
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        assert self.send("POST", "/sign-in", urlencode(form).encode(), kind)[0] == 303
        assert self.send("GET", "/definitions")[0] == 200

    def send(self, how: str, path: str, body: bytes | None = None, heads: dict | None = None):
        cookie = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        self.open.request(how, path, body, {"Cookie": cookie, **(heads or {})})
        reply = self.open.getresponse()
        for name, value in reply.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.split(";")[0]
        return reply.status, reply.read()

    def ask(self, path: str, search: str = "") -> int:
        """Have a page drawn; returns the bytes of the answer."""
        body = json.dumps(page_request(path, search)).encode()
        heads = {"Content-Type": "application/json", "X-CSRFToken": self.cookies["_csrf_token"]}
        status, answer = self.send("POST", "/_dash-update-component", body, heads)
        assert status == 200, (path, status, answer[:300])
        return len(answer)

    def get(self, path: str) -> int:
        status, answer = self.send("GET", path)
        assert status == 200, (path, status)
        return len(answer)


def milliseconds(work: Callable[[Person, int], int], person: Person, times: int) -> list[float]:
    taken = []
    for turn in range(times):
        start = time.perf_counter()
        work(person, turn)
        taken.append(1000 * (time.perf_counter() - start))
    return taken


def together(work: Callable[[Person, int], int], people: list[Person], times: int) -> np.ndarray:
    with ThreadPoolExecutor(len(people)) as pool:
        runs = pool.map(lambda person: milliseconds(work, person, times), people)
        return np.concatenate([*runs])


def prepared(folder: Path, families: int) -> tuple[str, list[str]]:
    """A store of invented logs up to yesterday with a person for each desk."""
    until = NOW.date() - timedelta(days=1)
    url = f"sqlite:///{folder}/store.sqlite"
    policy = shipped_policy()
    with Store.open(url) as store:
        files = write_canonical(generate_blocks(families, until=until), folder, "csv")
        ingest(store, files, policy, received_at=NOW - timedelta(hours=8))
        for number in range(20):
            store.people.add(f"N{number}", PASSWORD, Role.MANAGER, NOW, by="command line")
        calls = take(store, policy, NOW.date()).calls
    return url, calls.families["family_id"].astype(str).tolist()


def served(url: str) -> None:
    """Serve the store on the morning."""
    serve(DashboardConfig(store_url=url, clock=lambda: NOW), port=PORT)


def wait_for_server() -> None:
    for _ in range(600):
        with contextlib.suppress(OSError):
            socket.create_connection(("127.0.0.1", PORT), timeout=1).close()
            return
        time.sleep(0.1)
    raise SystemExit("The dashboard did not begin to answer.")


def painted(signed_in: Person) -> None:
    """Time from asking for a page to its first useful paint, in Chromium, files already kept."""
    wanted = {
        "/": "table.calls tbody tr",
        "/rates": ".history .main-svg",
        "/dwell": ".history .main-svg",
        "/retraining": "main table",
        "/incoming": "main table",
        "/definitions": "main h2",
    }
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        context = chromium.new_context(viewport={"width": 1440, "height": 900})
        about = {"domain": "127.0.0.1", "path": "/"}
        context.add_cookies(
            [{"name": n, "value": v, **about} for n, v in signed_in.cookies.items()]
        )
        for path, selector in wanted.items():
            taken = []
            for _ in range(4):
                page = context.new_page()
                start = time.perf_counter()
                page.goto(f"http://{ADDRESS}{path}", wait_until="commit")
                page.wait_for_selector(selector, timeout=120_000)
                taken.append(1000 * (time.perf_counter() - start))
                page.close()
            print(f"{path:<14} first useful paint {min(taken):6.0f} ms")
        chromium.close()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, default=10_000)
    families = parser.parse_args().families
    with tempfile.TemporaryDirectory() as folder:
        url, listed = prepared(Path(folder), families)
        server = multiprocessing.get_context("spawn").Process(target=served, args=(url,))
        server.start()
        try:
            wait_for_server()
            people = [Person(f"N{number}") for number in range(20)]
            kinds: dict[str, Callable[[Person, int], int]] = {
                "plain file": lambda person, _: person.get(PLAIN),
                "calls": lambda person, _: person.ask("/"),
                "calls, a family opened": lambda person, turn: person.ask(
                    "/", f"?family={listed[turn % len(listed)]}"
                ),
                "family": lambda person, turn: person.ask(f"/family/{listed[turn % len(listed)]}"),
                "rates": lambda person, _: person.ask("/rates"),
                "dwell time": lambda person, _: person.ask("/dwell"),
                "retraining": lambda person, _: person.ask("/retraining"),
                "incoming logs": lambda person, _: person.ask("/incoming"),
                "definitions": lambda person, _: person.ask("/definitions"),
            }
            print(f"{families} families, {len(listed)} of them listed")
            base: dict[int, float] = {}
            for name, work in kinds.items():
                start = time.perf_counter()
                size = work(people[0], 0)
                cold = 1000 * (time.perf_counter() - start)
                line = f"{name:<24}{size / 1000:6.0f} kB  first {cold:7.0f} ms"
                for crowd in (1, 20):
                    taken = together(work, people[:crowd], EACH if crowd == 1 else EACH // 5)
                    p50, p95 = np.percentile(taken, [50, 95])
                    base.setdefault(crowd, p50)
                    line += f"  {crowd:>2} at once: p50 {p50:5.0f} p95 {p95:5.0f} ms"
                    line += f" ({p50 / base[crowd]:4.1f} x)"
                print(line, flush=True)
            painted(people[0])
        finally:
            server.terminate()
            server.join()


if __name__ == "__main__":
    main()
