"""An ingest that is killed leaves of each file all or nothing, and can be run again.

Killed here before calls of the database's driver, so that every run kills at the same places; the
benchmark of faults kills at 200 random moments, also within a call.
"""

from __future__ import annotations

import multiprocessing
import shutil
import signal
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from sqlalchemy import func, select

from analysis.ingest import ingest
from analysis.store import Store
from analysis.store.schema import ROWS, files, refused
from analysis.tables import INCOMING
from tests.ingest_files import POLICY, RECEIVED_AT, written
from tests.killed import counting

KILLS = 6
N_LINES = 200
N_LOGS = 3
ROWS_A_LOG = 600


def write_programme(folder: Path) -> None:
    """A registry and some months of log, with corrections across files and rows to refuse."""
    draw = np.random.default_rng(5)
    lines = ["line_id,child_id,family_id,site,line_type,placed_on,home_from,dressing_type"]
    lines += [f"L{n},C{n},F{n},x,picc,2031-01-01,2031-01-02,gauze" for n in range(N_LINES)]
    written(folder, "lines.csv", "\n".join(lines))
    kinds = ["dressing_change", "connector_change", "skin_check", "bath"]  # the last is refused
    for at in range(N_LOGS):
        rows = ["entry_id,line_id,done_at,kind,kits_left"]
        for _ in range(ROWS_A_LOG):
            entry = draw.choice(["", f"E{draw.integers(0, 4000)}"])
            kind = draw.choice(kinds, p=[0.4, 0.3, 0.28, 0.02])
            day = f"2031-03-{draw.integers(1, 29):02d}"
            rows.append(f"{entry},L{draw.integers(0, N_LINES + 2)},{day},{kind},{draw.integers(5)}")
        written(folder, f"home_log-{at}.csv", "\n".join(rows))


def run(url: str, folder: str, last: int, there: Connection) -> None:
    """What the killed process does: it ends before a call of the driver, or sends their number."""
    with Store.open(url) as store:
        calls = counting(last)
        ingest(store, folder, POLICY, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
        there.send(calls())


def content(store: Store) -> dict[str, pd.DataFrame]:
    """All that is known, refused and doubted, in one order."""
    known = store.records()
    frames = {table: getattr(known, table).drop(columns="row") for table in INCOMING}
    frames["refused"] = store.refused().drop(columns=["refused_row", "ingest"])
    frames["doubts"] = store.doubts().drop(columns="row")
    return {
        name: frame.astype(str).sort_values(list(frame.columns), ignore_index=True)
        for name, frame in frames.items()
    }


def rows_by_file(store: Store) -> dict[str, int]:
    """How many stored versions and refused rows came from each file, from the tables themselves."""
    found: dict[str, int] = {}
    with store._database.reading() as connection:
        for table in (*ROWS.values(), refused):
            query = select(files.c.name, func.count()).select_from(files)
            query = query.join(table, table.c.file == files.c.file).group_by(files.c.file)
            for name, n in connection.execute(query):
                assert (name, table.name) not in found
                found[name, table.name] = n
    return {f"{name} {table}": n for (name, table), n in found.items()}


@pytest.fixture
def programme(tmp_path: Path) -> Path:
    folder = tmp_path / "in"
    folder.mkdir()
    write_programme(folder)
    return folder


def test_killed_at_any_moment_each_file_is_in_whole_or_not_and_a_rerun_completes_it(
    programme: Path, tmp_path: Path
) -> None:
    empty = tmp_path / "empty.sqlite"
    Store.open(f"sqlite:///{empty}").close()
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["tests.faults.test_killed_ingest"])

    here, there = processes.Pipe(duplex=False)

    def ended(name: str, last: int) -> tuple[str, int | None]:
        """Run until a call of the driver; where its store is, and how the process ended."""
        shutil.copy(empty, tmp_path / name)
        url = f"sqlite:///{tmp_path}/{name}"
        process = processes.Process(target=run, args=(url, str(programme), last, there))
        process.start()
        process.join()
        return url, process.exitcode

    url, code = ended("whole.sqlite", 0)
    assert code == 0
    calls = here.recv()
    with Store.open(url) as store:
        whole, by_file = content(store), rows_by_file(store)
    names = ["lines.csv", *(f"home_log-{at}.csv" for at in range(N_LOGS))]
    reached = []
    for at, last in enumerate(np.linspace(1, calls, KILLS, dtype=int)):
        url, code = ended(f"killed-{at}.sqlite", int(last))
        assert code == -signal.SIGKILL
        with Store.open(url) as store:
            there = store.ingests()["file"].tolist()
            reached.append(len(there))
            assert there == names[: len(there)]
            assert rows_by_file(store) == {
                key: n for key, n in by_file.items() if key.split()[0] in there
            }
            ingest(store, programme, POLICY, received_at=RECEIVED_AT, ingested_at=RECEIVED_AT)
            again = content(store)
        for name, frame in whole.items():
            pd.testing.assert_frame_equal(again[name], frame, obj=f"{name} after kill {at}")
    assert len(set(reached)) > 2, f"the kills met too few states: {sorted(reached)}"
