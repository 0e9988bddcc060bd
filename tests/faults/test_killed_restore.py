"""A restore or a backup that is killed leaves nothing half done, and can be run again."""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

import numpy as np
import pytest

from analysis.store import Store, StoreError
from tests.stored_rows import put

KILLS = 5
N_CAREGIVERS = 5_000


def restore(folder: str, name: str, begun: Connection) -> None:
    """What the killed process does."""
    begun.send_bytes(b"begun")
    Store.restored(f"sqlite:///{folder}/{name}.sqlite", Path(folder, "all.zip")).close()


def back_up(folder: str, name: str, begun: Connection) -> None:
    """What the other killed process does."""
    with Store.open(f"sqlite:///{folder}/all.sqlite") as store:
        begun.send_bytes(b"begun")
        store.backup(Path(folder, f"{name}.zip"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with enough rows that a kill meets the middle, and its backup."""
    made = tmp_path_factory.mktemp("killed")
    rows = "\n".join(f"2031-03-01 | G{n} | F{n // 2} | parent" for n in range(N_CAREGIVERS))
    with Store.open(f"sqlite:///{made}/all.sqlite") as store:
        put(store, "caregivers", f"received | caregiver_id | family_id | relation\n{rows}")
        store.backup(made / "all.zip")
    return made


Act = Callable[[str, str, Connection], None]


def started(act: Act, folder: Path, name: str) -> tuple[BaseProcess, float]:
    processes = multiprocessing.get_context("forkserver")
    processes.set_forkserver_preload(["tests.faults.test_killed_restore", "analysis.store.restore"])
    here, there = processes.Pipe(duplex=False)
    process = processes.Process(target=act, args=(str(folder), name, there))
    process.start()
    assert here.recv_bytes() == b"begun"
    return process, time.monotonic()


def killed(act: Act, folder: Path, name: str, moments: int) -> list[str]:
    """Run once to the end, then kill at moments spread over the time that took."""
    process, begun = started(act, folder, f"{name}-whole")
    process.join()
    took = time.monotonic() - begun
    assert process.exitcode == 0
    names = [f"{name}-{at}" for at in range(moments)]
    for each, moment in zip(names, np.linspace(0, 1.05, moments) * took, strict=True):
        process, begun = started(act, folder, each)
        time.sleep(max(0.0, moment - (time.monotonic() - begun)))
        process.kill()
        process.join()
    return names


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
    for name in killed(restore, folder, "restore", KILLS):
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
    kept = [folder / f"{name}.zip" for name in killed(back_up, folder, "backup", KILLS)]
    assert {path.read_bytes() for path in kept if path.exists()} <= {whole}
    assert not all(path.exists() for path in kept)
