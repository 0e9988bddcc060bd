"""A restore or a backup that is killed leaves nothing half done, and can be run again."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import pytest

from analysis.store import Store, StoreError
from tests.killed import counting
from tests.stored_rows import put

KILLS = 5
N_CAREGIVERS = 1_000


def restore(folder: str, name: str, last: int, there: Connection) -> None:
    """What the killed process does: it ends before a call of the driver, or sends their number."""
    calls = counting(last)
    Store.restored(f"sqlite:///{folder}/{name}.sqlite", Path(folder, "all.zip")).close()
    there.send(calls())


def back_up(folder: str, name: str, last: int, there: Connection) -> None:
    """What the other killed process does."""
    with Store.open(f"sqlite:///{folder}/all.sqlite") as store:
        calls = counting(last)
        store.backup(Path(folder, f"{name}.zip"))
        there.send(calls())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store and its backup."""
    made = tmp_path_factory.mktemp("killed")
    rows = "\n".join(f"2031-03-01 | G{n} | F{n // 2} | parent" for n in range(N_CAREGIVERS))
    with Store.open(f"sqlite:///{made}/all.sqlite") as store:
        put(store, "caregivers", f"received | caregiver_id | family_id | relation\n{rows}")
        store.backup(made / "all.zip")
    return made


Act = Callable[[str, str, int, Connection], None]


def killed(act: Act, folder: Path, name: str) -> list[str]:
    """Run once to the end, then kill before calls of the driver spread from the first to the last."""
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["tests.faults.test_killed_restore", "analysis.store.restore"])
    here, there = processes.Pipe(duplex=False)

    def ended(each: str, last: int) -> int | None:
        process = processes.Process(target=act, args=(str(folder), each, last, there))
        process.start()
        process.join()
        return process.exitcode

    assert ended(f"{name}-whole", 0) == 0
    calls = np.linspace(1, here.recv(), KILLS, dtype=int)
    names = {f"{name}-{at}": int(last) for at, last in enumerate(calls)}
    assert {ended(each, last) for each, last in names.items()} == {-signal.SIGKILL}
    return list(names)


def is_there(place: str) -> bool:
    """Whether a store is there; else the place has to be as if nothing had ever been."""
    try:
        Store.open(place, create=False).close()
    except StoreError as told:
        if str(told).startswith("There is no store at"):
            return False
        raise
    return True


def test_killed_at_any_moment_a_restore_leaves_no_table_or_the_whole_store(folder: Path) -> None:
    whole = 0
    for name in killed(restore, folder, "restore"):
        place = f"sqlite:///{folder}/{name}.sqlite"
        if is_there(place):
            whole += 1
        else:
            Store.restored(place, folder / "all.zip").close()
        with Store.open(place, create=False) as store:
            assert len(store.records().caregivers) == N_CAREGIVERS
    assert whole < KILLS


def test_killed_at_any_moment_a_backup_leaves_no_file_or_a_whole_one(folder: Path) -> None:
    whole = (folder / "all.zip").read_bytes()
    kept = [folder / f"{name}.zip" for name in killed(back_up, folder, "backup")]
    assert {path.read_bytes() for path in kept if path.exists()} <= {whole}
    assert not all(path.exists() for path in kept)
