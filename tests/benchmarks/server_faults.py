"""What holds when a PostgreSQL server fails, or many use it at once: rows of the table of faults.

Called by `faults.py`; by itself: ``python -m tests.benchmarks.server_faults [TRIES] [SEED]``.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path

from analysis.errors import UserError
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.store.database import connect
from analysis.store.migrate import upgrade
from analysis.vocabulary import Access, CallOutcome
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from tests.postgresql import STOPS_AT_ONCE, Server
from tests.signed_in import NOW, PASSWORD, PEOPLE, Browser, browser_of

AT = datetime(2026, 3, 4, 9, tzinfo=UTC)
WRITERS, READERS, FILES = 8, 20, 6
OLDER = "0016"
"""A revision from which migrations bring a store to this version."""

Show = Callable[[str, int, str, str], None]


def registry(folder: Path, writers: int = WRITERS) -> Path:
    """A registry with a line for each writer."""
    head = "line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type\n"
    rows = (
        f"L{n},C{n},F{n},North,picc,2020-01-01,2020-01-02,transparent\n" for n in range(writers)
    )
    (folder / "lines.csv").write_text(head + "".join(rows))
    return folder / "lines.csv"


def log(folder: Path, name: str, line: int, rows: int) -> Path:
    """A home log of one line."""
    written = (
        f"{name}-{n},L{line},2025-{1 + n % 12:02d}-{1 + n % 28:02d},flush,note {n}\n"
        for n in range(rows)
    )
    file = folder / f"home_log {name}.csv"
    file.write_text("entry_id,line_id,done_at,kind,note\n" + "".join(written))
    return file


def whole(store: Store) -> bool:
    """Whether all rows are as they were stored."""
    return all(one.difference is None for one in store.verify())


def said(found: Counter[str]) -> str:
    """How often each was found."""
    return "; ".join(f"{what} {n}" for what, n in found.most_common())


def together(
    url: str, folder: Path, *, writers: int = WRITERS, readers: int = READERS, files: int = FILES
) -> tuple[Counter[str], int, bool]:
    """Writers ingest files and record calls while readers read; faults, readings, what held."""
    rows = 200
    logs = [[log(folder, f"w{w}f{f}", w, rows) for f in range(files)] for w in range(writers)]
    with Store.open(url) as store:
        ingest(store, registry(folder, writers), shipped_policy())
    faults: Counter[str] = Counter()
    readings, over = [0] * readers, threading.Event()

    @contextmanager
    def counted() -> Iterator[None]:
        try:
            yield
        except Exception as fault:  # every one is a row of the table
            faults[f"{type(fault).__name__}: {str(fault)[:80]}"] += 1

    def write(number: int) -> None:
        with counted(), Store.open(url) as store:
            for nth, file in enumerate(logs[number]):
                assert ingest(store, file, shipped_policy()).faults == ()
                at = AT + timedelta(minutes=nth)
                store.record_call(f"F{number}", f"N{number}", CallOutcome.REACHED, None, None, at)
                store.people.note(f"N{number}", Access.RECORDED_CALL, at, family_id=f"F{number}")

    def read(number: int) -> None:
        with counted(), Store.open(url, keeps_readers=True) as store:
            while not over.is_set():
                records = store.records()
                of_files = records.home_log["entry_id"].str.split("-").str[0].value_counts()
                assert set(of_files) <= {rows}  # a file is there whole or not at all
                readings[number] += 1

    everybody = [threading.Thread(target=write, args=(n,)) for n in range(writers)]
    reading = [threading.Thread(target=read, args=(n,)) for n in range(readers)]
    for thread in (*everybody, *reading):
        thread.start()
    for thread in everybody:
        thread.join()
    over.set()
    for thread in reading:
        thread.join()
    with Store.open(url) as store:
        held = (
            whole(store)
            and len(store.records().home_log) == writers * files * rows
            and len(store.all_calls()) == len(store.people.accesses()) == writers * files
        )
    return faults, sum(readings), held


def in_the_middle(
    server: Server, act: Callable[[], object], seconds: float, *, restart: bool
) -> tuple[str, bool]:
    """Cut the connections, or end the server and start it again, during an act.

    Returns what a person sees, and whether the act was done.
    """
    seen: list[str] = []

    def acted() -> None:
        try:
            act()
            seen.append("done before it")
        except UserError as fault:
            seen.append(str(fault).split(". ")[0])
        except Exception as fault:
            seen.append(f"FAULT {type(fault).__name__}")

    thread = threading.Thread(target=acted)
    thread.start()
    time.sleep(seconds)
    if restart:
        server.stop(STOPS_AT_ONCE)
        server.start()
    else:
        server.cut_connections()
    thread.join()
    return seen[0], seen[0].startswith("done")


def during_ingest(
    server: Server, folder: Path, seconds: float, *, restart: bool, rows: int = 4_000
) -> tuple[str, bool]:
    """A file is there whole or not at all, and again gives all."""
    url, file = server.new_database(), log(folder, "big", 0, rows)

    def act() -> None:
        report = ingest(store, file, shipped_policy())
        if report.faults:
            raise report.faults[0]

    with Store.open(url) as store:
        ingest(store, registry(folder), shipped_policy())
        seen, done = in_the_middle(server, act, seconds, restart=restart)
        n_rows = len(store.records().home_log)
        held = whole(store) and n_rows in ({rows} if done else {0, rows})
        ingest(store, file, shipped_policy())
        return seen, held and len(store.records().home_log) == rows and whole(store)


def during_migration(server: Server, seconds: float, *, restart: bool) -> tuple[str, bool]:
    """The next opening brings the store to this version."""
    url = server.new_database()
    older = connect(url, create=True)
    upgrade(older, OLDER)
    older.let_go()
    seen, _ = in_the_middle(server, lambda: Store.open(url).close(), seconds, restart=restart)
    with Store.open(url) as store:
        return seen, whole(store) and len(store.ingests()) == 0


def during_calls(server: Server, seconds: float, *, restart: bool) -> tuple[str, bool]:
    """Every acknowledged call is there."""
    url, acknowledged = server.new_database(), 0

    def act() -> None:
        nonlocal acknowledged
        for number in range(60):
            at = AT + timedelta(minutes=number)
            store.record_call("F1", "N1", CallOutcome.REACHED, None, date(2026, 3, 9), at)
            acknowledged += 1

    with Store.open(url) as store:
        seen, _ = in_the_middle(server, act, seconds, restart=restart)
        n_calls = len(store.all_calls())
        return seen, whole(store) and acknowledged <= n_calls <= acknowledged + 1


def page_while_it_is_down(server: Server, url: str) -> tuple[int, str, int]:
    """A page while the server is down, what it shows, and its status afterwards by itself."""
    with Store.open(url) as store:
        for code, role, _, families in PEOPLE[:1]:
            store.people.add(code, PASSWORD, role, NOW, by="command line", families=families)
    app = create_app(DashboardConfig(store_url=url, clock=lambda: NOW))
    try:
        browser: Browser = browser_of(app, PEOPLE[0][0])
        assert browser.get("/").status_code == 200
        server.stop(STOPS_AT_ONCE)
        down = browser.get("/")
        again_after = int(down.headers["Refresh"])
        assert browser.page("/").status_code == 503
        server.start()
        assert again_after > 0
        return down.status_code, unescape(down.text), browser.get("/").status_code
    finally:
        app.service.close()


def rows(show: Show, tries: int, draw: random.Random) -> None:
    """Print the rows of the table on a server."""
    server = Server()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        stores = {"SQLite": f"sqlite:///{folder}/store.sqlite", "PostgreSQL": server.new_database()}
        for name, url in stores.items():
            begun = time.monotonic()
            faults, readings, held = together(url, folder)
            seconds = time.monotonic() - begun
            seen = f"faults {faults.total()} {said(faults)}; {readings} readings in {seconds:.0f} s"
            what = (
                f"{name}: {WRITERS} writers of {FILES} files and calls, {READERS} readers at once"
            )
            show(what, 1, seen, "whole, nothing lost" if held else "LOST")
        acts: dict[str, tuple[float, Callable[[float, bool], tuple[str, bool]]]] = {
            "ingest": (2.0, lambda s, r: during_ingest(server, folder, s, restart=r)),
            "migration": (1.0, lambda s, r: during_migration(server, s, restart=r)),
            "calls": (1.0, lambda s, r: during_calls(server, s, restart=r)),
        }
        for restart, fault in ((False, "connection cut"), (True, "server ends and starts")):
            for act, (most, during) in acts.items():
                found: Counter[str] = Counter()
                sentences: Counter[str] = Counter()
                for _ in range(tries):
                    seen, held = during(draw.uniform(0, most), restart)
                    sentences[re.sub(r"store_\d+", "…", seen)] += 1
                    found["whole" if held else "LOST"] += 1
                show(f"PostgreSQL: {fault} during {act}", tries, said(sentences), said(found))
        status, text, after = page_while_it_is_down(server, server.new_database())
        sentence = "can't be reached" if "can't be reached" in text else "FAULT"
        seen = f"{status}, “… {sentence} …”, asks again by itself"
        show("PostgreSQL: a page while the server is down", 1, seen, f"{after} when it is back")


def main() -> None:
    """Print the rows."""
    tries = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    draw = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 7)

    def show(fault: str, n: int, seen: str, held: str) -> None:
        sys.stdout.write(f"| {fault} | {n} | {seen} | {held} |\n")
        sys.stdout.flush()

    rows(show, tries, draw)


if __name__ == "__main__":
    main()
