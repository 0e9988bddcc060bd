"""A file goes in whole or not at all, whoever else is writing and whatever stops it."""

from __future__ import annotations

import multiprocessing
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from datetime import date
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest

from analysis.store import Store, StoreError
from analysis.store.loading import LEAST_BYTES
from analysis.vocabulary import CallOutcome
from tests.stored_rows import accepted, file_info, moment, put, refused, store, url

__all__ = ["store", "url"]

PROCESSES = multiprocessing.get_context("forkserver")
PROCESSES.set_forkserver_preload([__name__])

ONE = """
received   | caregiver_id | family_id
2031-03-01 | G1           | F1
"""

LOG = """
received   | line_id | family_id | done_on    | kind             | note
2031-03-01 | L1      | F1        | 2031-02-27 | flush            | one
2031-03-01 | L1      | F1        | 2031-02-28 | connector_change | two
"""


def child(program: Callable[..., None], *given: object) -> tuple[BaseProcess, Connection]:
    """Another process, which shares nothing open with this one; what it sends arrives here."""
    here, there = PROCESSES.Pipe(duplex=False)
    process = PROCESSES.Process(target=program, args=(there, *given))
    process.start()
    there.close()
    return process, here


def in_the_middle_of_a_file(there: Connection, url: str) -> None:
    text = "received | caregiver_id | family_id\n"
    text += "\n".join(f"2031-03-01 | G{n} | F1" for n in range(2000))
    with Store.open(url).writing(file_info(2)) as writer:
        writer.add("caregivers", accepted("caregivers", text))
        writer.refuse(refused("row_number | raw\n3 | raw 1"))
        there.send("in the middle of it")
        time.sleep(600)


def twelve_files(there: Connection, url: str, name: str) -> None:
    store = Store.open(url)
    for n in range(12):
        row = f"2031-03-01 | {name}{n} | F1"
        put(store, "caregivers", f"received | caregiver_id | family_id\n{row}")


def version(there: Connection, url: str) -> None:
    there.send(Store.open(url).data_version())


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


def laid_out(opened: Store) -> list[tuple[str, str]]:
    """Triggers and indexes of an SQLite store, as they were made."""
    query = "SELECT name, sql FROM sqlite_master WHERE type IN ('trigger', 'index') ORDER BY name"
    with opened._database.reading() as connection:
        return [(row.name, row.sql) for row in connection.exec_driver_sql(query)]


def test_a_large_file_leaves_triggers_and_indexes_as_they_were(tmp_path: Path) -> None:
    with Store.open(f"sqlite:///{tmp_path}/store.sqlite") as opened:
        before = laid_out(opened)
        large = file_info(size=LEAST_BYTES)
        with pytest.raises(KeyboardInterrupt), opened.writing(large) as writer:  # noqa: PT012
            assert len(laid_out(opened)) == len(before)  # of another connection
            writer.add("home_log", accepted("home_log", LOG))
            raise KeyboardInterrupt
        assert laid_out(opened) == before
        assert put(opened, "home_log", LOG, size=LEAST_BYTES) == (2, 0)
        assert laid_out(opened) == before
        with opened._database.reading() as connection:
            query = "SELECT row FROM home_log INDEXED BY {} WHERE {}"
            for index, where in (
                ("home_log_connectors", "kind = 'connector_change'"),
                ("home_log_unnumbered", "entry_id IS NULL AND done_on = 22338"),
            ):
                found = connection.exec_driver_sql(query.format(index, where)).scalars().all()
                assert found == [2]
        rows = accepted("home_log", LOG)
        with opened.writing(file_info(2, size=LEAST_BYTES)) as writer:
            lines, days = (rows[name].combine_chunks() for name in ("line_id", "done_on"))
            assert writer.entries_like(lines, days).num_rows == 2
            assert writer.connector_days(lines, 22338, 22338).num_rows == 1
        assert laid_out(opened) == before


def test_rows_of_an_earlier_part_of_the_file_are_found(store: Store) -> None:
    listed = refused("row_number | raw\n3 | raw 1")
    with store.writing(file_info()) as writer:
        assert writer.add("caregivers", accepted("caregivers", ONE)).stored == 1
        more = accepted("caregivers", f"{ONE}2031-03-01 | G2 | F1\n")
        again = writer.add("caregivers", more)
        assert (again.stored, again.same_as_before) == (1, 1)
        assert (writer.refuse(listed), writer.refuse(listed)) == (1, 0)
        writer.void("caregivers", more["key"].combine_chunks(), more["received_at"])
        assert writer.add("caregivers", more).stored == 2
    assert len(store.records().caregivers) == 2


def test_nobody_sees_half_a_file(store: Store, url: str) -> None:
    with Store.open(url) as other:
        with store.writing(file_info()) as writer:
            writer.add("caregivers", accepted("caregivers", ONE))
            assert len(other.records().caregivers) == 0
            assert other.registry().caregivers.num_rows == 0
        assert len(other.records().caregivers) == 1


def test_a_killed_ingest_leaves_nothing(store: Store, url: str) -> None:
    put(store, "caregivers", ONE.replace("G1", "G0"), 1)
    killed, said = child(in_the_middle_of_a_file, url)
    assert said.recv() == "in the middle of it"
    killed.kill()
    killed.join()
    assert killed.exitcode == -signal.SIGKILL
    assert store.records().caregivers["caregiver_id"].tolist() == ["G0"]
    assert len(store.refused()) == 0
    assert store.ingests()["file"].tolist() == ["file-1.csv"]
    assert put(store, "caregivers", ONE, 2) == (1, 0)


def test_two_processes_write_by_turns_and_no_row_is_lost(store: Store, url: str) -> None:
    writers = [child(twelve_files, url, name)[0] for name in ("A", "B")]
    seen = []
    while any(writer.is_alive() for writer in writers):
        seen.append(len(store.records().caregivers))
        time.sleep(0.05)  # leaves the processor to the writers
    assert [writer.exitcode for writer in writers] == [0, 0]
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
    openers = [child(version, url) for _ in range(2)]
    assert [said.recv() for _, said in openers] == [0, 0]
    for opener, _ in openers:
        opener.join()


def test_a_process_has_one_sqlite_library_on_a_store(tmp_path: Path) -> None:
    # Two would not see each other's locks; the one of Python stays unloaded.
    program = """if True:
        import sys
        from datetime import datetime
        from analysis.store import Store
        store = Store.open(sys.argv[1])
        store.records(datetime(2031, 3, 1))
        store.data_version()
        print("_sqlite3" in sys.modules)
    """
    command = [sys.executable, "-c", program, f"sqlite:///{tmp_path}/store.sqlite"]
    assert subprocess.run(command, check=False, capture_output=True, text=True).stdout == "False\n"
