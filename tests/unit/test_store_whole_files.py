"""A file goes in whole or not at all, whoever else is writing and whatever stops it."""

from __future__ import annotations

import signal
import subprocess
import sys
import textwrap
import threading
import time
from datetime import date
from pathlib import Path

import pytest

from analysis.store import Store, StoreError
from analysis.vocabulary import CallOutcome
from tests.stored_rows import accepted, file_info, moment, put, refused, store, url

__all__ = ["store", "url"]

ROOT = Path(__file__).parents[2]

ONE = """
received   | caregiver_id | family_id
2031-03-01 | G1           | F1
"""


def child(program: str, *arguments: str) -> subprocess.Popen[str]:
    """Another process that runs a program text on the store."""
    head = "import sys\nsys.path.insert(0, sys.argv[1])\n"
    command = [sys.executable, "-c", head + textwrap.dedent(program), str(ROOT), *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def call(opened: Store) -> int:
    return opened.record_call(
        "F1",
        "N1",
        CallOutcome.REACHED,
        None,
        date(2031, 3, 4),
        moment("2031-03-02T08:00"),
        date(2031, 3, 2),
    )


def test_what_is_raised_inside_a_file_undoes_all_of_it(store: Store) -> None:
    before = store.data_version()
    with pytest.raises(KeyboardInterrupt), store.writing(file_info()) as writer:  # noqa: PT012
        writer.add("caregivers", accepted("caregivers", ONE))
        writer.refuse(refused("row_number | raw\n3 | raw 1"))
        writer.count("caregivers", 2, 1, 0, 1, 0)
        raise KeyboardInterrupt
    assert len(store.records().caregivers) == 0
    assert len(store.refused()) == 0
    assert len(store.ingests()) == 0
    assert store.file_before(file_info().sha256, file_info().name) is None
    assert store.data_version() == before
    assert put(store, "caregivers", ONE) == (1, 0)


def test_nobody_sees_half_a_file(store: Store, url: str) -> None:
    with Store.open(url) as other:
        with store.writing(file_info()) as writer:
            writer.add("caregivers", accepted("caregivers", ONE))
            assert len(other.records().caregivers) == 0
            assert other.registry().caregivers.num_rows == 0
        assert len(other.records().caregivers) == 1


def test_a_killed_ingest_leaves_nothing(store: Store, url: str) -> None:
    put(store, "caregivers", ONE.replace("G1", "G0"), 1)
    killed = child(
        """
        import time
        from analysis.store import Store
        from tests.stored_rows import accepted, file_info, refused
        text = "received | caregiver_id | family_id\\n"
        text += "\\n".join(f"2031-03-01 | G{n} | F1" for n in range(2000))
        with Store.open(sys.argv[2]).writing(file_info(2)) as writer:
            writer.add("caregivers", accepted("caregivers", text))
            writer.refuse(refused("row_number | raw\\n3 | raw 1"))
            print("in the middle of it", flush=True)
            time.sleep(600)
        """,
        url,
    )
    assert killed.stdout is not None
    assert killed.stdout.readline() == "in the middle of it\n"
    killed.send_signal(signal.SIGKILL)
    killed.wait()
    killed.stdout.close()
    assert store.records().caregivers["caregiver_id"].tolist() == ["G0"]
    assert len(store.refused()) == 0
    assert store.ingests()["file"].tolist() == ["file-1.csv"]
    assert put(store, "caregivers", ONE, 2) == (1, 0)


def test_two_processes_write_by_turns_and_no_row_is_lost(store: Store, url: str) -> None:
    program = """
    from analysis.store import Store
    from tests.stored_rows import put
    store = Store.open(sys.argv[2])
    for n in range(12):
        name = f"{sys.argv[3]}{n}"
        put(store, "caregivers", f"received | caregiver_id | family_id\\n2031-03-01 | {name} | F1")
    """
    writers = [child(program, url, name) for name in ("A", "B")]
    seen = []
    while any(writer.poll() is None for writer in writers):
        seen.append(len(store.records().caregivers))
        time.sleep(0.05)  # leaves the processor to the writers
    for writer in writers:
        assert writer.stdout is not None
        writer.stdout.close()
        assert writer.returncode == 0
    caregivers = store.records().caregivers
    expected = {f"{name}{n}" for name in "AB" for n in range(12)}
    assert set(caregivers["caregiver_id"]) == expected
    assert caregivers["row"].tolist() == list(range(1, 25))
    assert seen == sorted(seen)
    assert store.data_version() == 24


def test_a_writer_that_waits_too_long_says_who_is_in_the_way(store: Store, url: str) -> None:
    with Store.open(url, wait_seconds=0.05) as hasty, store.writing(file_info()):
        assert len(hasty.records().calls) == 0
        with pytest.raises(StoreError, match="is busy: another program has been writing"):
            call(hasty)


def test_a_writer_waits_for_another_thread_of_its_own_process(store: Store) -> None:
    rows: list[int] = []
    waiting = threading.Thread(target=lambda: rows.append(call(store)))
    with store.writing(file_info()) as writer:
        writer.add("caregivers", accepted("caregivers", ONE))
        waiting.start()
        waiting.join(0.05)
        assert rows == []
    waiting.join()
    assert rows == [1]
    assert len(store.records().caregivers) == len(store.records().calls) == 1


def test_two_processes_may_open_a_new_store_at_once(url: str) -> None:
    program = """
    from analysis.store import Store
    print(Store.open(sys.argv[2]).data_version(), flush=True)
    """
    openers = [child(program, url) for _ in range(2)]
    assert [opener.communicate()[0] for opener in openers] == ["0\n"] * 2


def test_a_process_has_one_sqlite_library_on_a_store(tmp_path: Path) -> None:
    # Two would not see each other's locks; the one of Python stays unloaded.
    program = """
    from datetime import datetime
    from analysis.store import Store
    store = Store.open(sys.argv[2])
    store.records(datetime(2031, 3, 1))
    store.data_version()
    print("_sqlite3" in sys.modules)
    """
    opener = child(program, f"sqlite:///{tmp_path}/store.sqlite")
    assert opener.communicate()[0] == "False\n"
