"""How long until every page shows one new log entry, and what does each command cost?

Prints processor seconds, asserts nothing:
``python -m tests.benchmarks.one_new_log [--families N ...] [--folder FOLDER]``.
For each page one entry of another family comes in; the seconds are those of this process from asking
for the page until it is answered with it, with what all pages share. "First" is the page of a process
that has just started, "again" the same page when nothing has changed. Commands run in processes of
their own, from start to output; their memory is the most that they held.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.security.roles import PATHS, Page
from synthetic_data import generate_blocks, write_canonical
from tests.signed_in import Browser

NOW = datetime(2031, 3, 11, 9, tzinfo=UTC)
SHOWN = (
    Page.CALLS,
    Page.FAMILIES,
    Page.RATES,
    Page.DWELL,
    Page.WEEK,
    Page.INCOMING,
    Page.RETRAINING,
)
COMMANDS = ("calls", "rates --event skin", "dwell", "lines")

LAUNCHER = """
import os, sys
python, *asked = sys.argv[1:]
run = [python, "-c", "from analysis.cli.app import main; main()", *asked]
null = [(os.POSIX_SPAWN_OPEN, n, os.devnull, os.O_RDWR, 0) for n in (1, 2)]
_, status, used = os.wait4(os.posix_spawn(python, run, os.environ, file_actions=null), 0)
print(status, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""
"""Starts a command from a small process: the memory of a process counts as that of the one it starts."""


def processor_seconds(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def prepared(folder: Path, families: int) -> Path:
    """A store of invented logs up to yesterday; one that is there is used again."""
    file = folder / f"{families}.sqlite"
    if not file.exists():
        blocks = generate_blocks(families, until=NOW.date() - timedelta(days=1))
        files = write_canonical(blocks, folder / f"{families}", "csv")
        with Store.open(f"sqlite:///{file}") as store:
            at = NOW - timedelta(hours=8)
            ingest(store, files, shipped_policy(), received_at=at, ingested_at=NOW)
    return file


@contextmanager
def copied(file: Path) -> Iterator[str]:
    """A copy that may be written to, of a store that nobody uses."""
    with tempfile.TemporaryDirectory() as folder:
        yield f"sqlite:///{shutil.copy(file, folder)}"


def new_entry(store: Store, line: str, folder: Path, minute: int) -> None:
    """A dressing change of yesterday comes in."""
    file = folder / "new_home_log.csv"
    done = NOW.date() - timedelta(days=1)
    file.write_text(
        "line_id,done_at,kind,dressing_type,findings\n"
        f"{line},{done}T08:{minute:02},dressing_change,transparent,none\n"
    )
    at = NOW - timedelta(minutes=60 - minute)
    summary = ingest(store, [file], shipped_policy(), received_at=at, ingested_at=at)
    if summary.refused:
        raise SystemExit(f"The entry of line {line} was refused.")


def pages(url: str, folder: Path) -> None:
    config = DashboardConfig(store_url=url, demo=True, as_of=NOW.date(), clock=lambda: NOW)
    app = create_app(config)
    browser = Browser(app)
    browser.get("/")
    store = app.service.store
    lines = app.service.snapshot(None).timeline.lines
    lines = lines.loc[lines["at_home"], "line_id"].astype(str).tolist()
    print(f"{'page':<14}{'first':>9}{'again':>9}{'new log':>9}   processor seconds")
    for at, page in enumerate(SHOWN):
        path = PATHS[page]

        def shown(path: str = path) -> None:
            answer = browser.page(path)
            if answer.status_code != 200:
                raise SystemExit(f"{path}: {answer.status_code}")

        first = processor_seconds(shown)
        again = processor_seconds(shown)
        new_entry(store, lines[at * 7], folder, at)
        print(f"{page:<14}{first:9.2f}{again:9.2f}{processor_seconds(shown):9.2f}", flush=True)
    app.service.close()


def commands(url: str) -> None:
    print(f"{'command':<26}{'seconds':>9}{'MB':>8}   processor seconds, most memory")
    for command in COMMANDS:
        asked = [*command.split(), "--store", url, "--as-of", str(NOW.date()), "--format", "csv"]
        run = subprocess.run(
            [sys.executable, "-S", "-c", LAUNCHER, sys.executable, *asked],
            capture_output=True,
            check=True,
            text=True,
        )
        status, seconds, megabytes = run.stdout.split()
        if status != "0":
            raise SystemExit(f"{command}: {status}")
        print(f"{command:<26}{float(seconds):9.2f}{float(megabytes):8.0f}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--families", type=int, nargs="+", default=[240, 3_000, 10_000])
    parser.add_argument("--folder", type=Path, help="where stores are kept and found again")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        kept = given.folder or Path(folder)
        for families in given.families:
            print(f"\n{families} families")
            with copied(prepared(kept, families)) as url:
                commands(url)
                pages(url, Path(folder))


if __name__ == "__main__":
    main()
