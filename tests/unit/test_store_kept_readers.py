"""A program that asks all day keeps its connections, and still sees all that others write."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import psycopg
import pytest

from analysis.store import Store, visits
from analysis.vocabulary import Access
from tests.stored_rows import PLACES, put, store, url

__all__ = ["store", "url"]

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
ONE = """
received   | caregiver_id | family_id
2031-03-01 | G1           | F1
"""
TWO = """
received   | caregiver_id | family_id
2031-03-01 | G2           | F2
"""


@pytest.fixture
def asking(store: Store, url: str) -> Iterator[Store]:
    """The same store, opened by a program that asks all day; it has asked already."""
    with Store.open(url, create=False, wait_seconds=0.1, keeps_readers=True) as opened:
        opened.data_version()
        yield opened


def families(store: Store) -> list[str]:
    return sorted(store.records().caregivers["family_id"])


def test_what_another_writes_is_in_the_next_reading(store: Store, asking: Store) -> None:
    for number, (text, there) in enumerate([(ONE, ["F1"]), (TWO, ["F1", "F2"])], start=1):
        before = asking.data_version()
        put(store, "caregivers", text, number)
        assert asking.data_version() > before
        assert families(asking) == there


def test_a_connection_is_kept_and_used_again(asking: Store) -> None:
    readers = asking._database.readers.pool
    for _ in range(3):
        asking.data_version()
    assert readers.checkedin() == 1  # type: ignore[attr-defined]
    asking.close()
    assert readers.checkedin() == 0  # type: ignore[attr-defined]
    assert families(asking) == []


def test_a_query_that_stays_prepared_holds_nothing_of_the_file(asking: Store, url: str) -> None:
    asking.data_version()
    if asking._database.is_sqlite:
        with asking._database.engine.connect() as connection:
            end = connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            assert tuple(end.one()) == (0, 0, 0)  # nobody reads an older state
    with Store.open(url, create=False) as other:
        put(other, "caregivers", ONE)
    assert families(asking) == ["F1"]


def test_a_query_sees_what_its_own_trial_wrote_and_nobody_else_does(asking: Store) -> None:
    before = asking.data_version()
    with asking.trying() as trial:
        put(trial, "caregivers", ONE)
        assert trial.data_version() == before + 1
        assert not asking._database.is_sqlite or asking.data_version() == before
    assert asking.data_version() == before


def test_a_query_that_fails_is_prepared_anew(store: Store, asking: Store) -> None:
    asking.people.choice("N1", "rates")
    with pytest.raises(Exception, match="given|parameter|value"):
        asking._database.ask(visits._OWN, {"of": object(), "on": "rates"})
    with store._database.noting() as connection:
        visits.keep(connection, "N1", "rates", choice="?site=North")
    assert asking.people.choice("N1", "rates") == "?site=North"


def test_a_program_that_ends_without_closing_says_nothing(tmp_path: Path) -> None:
    program = f"""
from analysis.store import Store
store = Store.open("sqlite:///{tmp_path}/store.sqlite", keeps_readers=True)
print(store.data_version(), store.people.choice("N1", "rates"))
"""
    run = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert (run.returncode, run.stdout, run.stderr) == (0, "0 None\n", "")


def test_another_file_in_the_place_of_the_store_is_read_from_then_on(tmp_path: Path) -> None:
    files = {name: tmp_path / f"{name}.sqlite" for name in ("first", "second")}
    for name, text in (("first", ONE), ("second", TWO)):
        with Store.open(f"sqlite:///{files[name]}") as store:
            put(store, "caregivers", text)
    with Store.open(f"sqlite:///{files['first']}", create=False, keeps_readers=True) as asking:
        assert families(asking) == ["F1"]
        for beside in tmp_path.glob("first.sqlite-*"):  # what SQLite keeps of the old file
            beside.unlink()
        files["second"].replace(files["first"])
        assert families(asking) == ["F2"]


@pytest.mark.parametrize("url", [place for place in PLACES if place == "postgresql"], indirect=True)
def test_a_database_server_that_ended_our_connections_is_asked_anew(asking: Store) -> None:
    address = asking._database.engine.url
    with psycopg.connect(host=str(address.query["host"]), user="linedays", dbname="postgres") as it:
        ended = it.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE datname = %s",
            [address.database],
        ).fetchone()
    assert ended == (1,)
    assert families(asking) == []


def test_looks_are_noted_while_another_program_writes(store: Store, asking: Store) -> None:
    def look(family_id: str) -> None:
        asking.people.note("N1", Access.OPENED_FAMILY, NOW, family_id=family_id)

    look("F1")
    with store._database.changing_tables():
        look("F1")
        look("F2")
    assert list(asking.people.accesses()["family_id"]) == ["F2", "F1"]
