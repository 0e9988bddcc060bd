"""Rows that are only ever added can be neither changed nor replaced unnoticed."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
import pytest
import sqlalchemy as sa

from analysis.store import Store, chain, migrate, receipts
from analysis.store.database import connect
from analysis.store.verify import verify
from analysis.vocabulary import Access
from tests.stored_rows import put, store, url

__all__ = ["store", "url"]

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
TWO = """
received   | caregiver_id | family_id
2031-03-01 | G1           | F1
2031-03-01 | G2           | F2
"""
LATER = """
received   | caregiver_id | family_id
2031-03-02 | G1           | F3
"""


@pytest.fixture
def filled(store: Store) -> Store:
    put(store, "caregivers", TWO, 1)
    put(store, "caregivers", LATER, 2)
    store.people.note("N1", Access.OPENED_FAMILY, NOW, family_id="F1")
    store.people.note("N2", Access.OPENED_FAMILY, NOW, family_id="F2")
    return store


def differences(store: Store) -> list[str]:
    return [found.difference for found in store.verify() if found.difference is not None]


def found_after(store: Store, statement: str) -> str:
    """The difference after what a program that goes round the triggers does, which is undone."""
    with store._database.never_kept() as connection:
        if store._database.is_sqlite:
            names = connection.exec_driver_sql(
                "SELECT name FROM sqlite_master WHERE type = 'trigger'"
            ).scalars()
            for name in names.all():
                connection.exec_driver_sql(f"DROP TRIGGER {name}").close()
        else:
            connection.exec_driver_sql("SET LOCAL session_replication_role = replica").close()
        connection.exec_driver_sql(statement).close()
        (found,) = [one.difference for one in verify(connection) if one.difference]
        return found


def refused(store: Store, statement: str) -> str:
    """What the store answers to a statement."""
    with (
        pytest.raises(sa.exc.DBAPIError) as fault,
        store._database.changing_tables() as connection,
    ):
        connection.exec_driver_sql(statement).close()
    return str(fault.value)


def test_a_store_is_as_it_was_stored(filled: Store) -> None:
    found = {one.table: one for one in filled.verify()}
    assert differences(filled) == []
    assert (found["caregivers"].rows, found["caregivers"].links) == (3, 2)
    assert (found["accesses"].rows, found["accesses"].links) == (2, 2)
    assert len(found["accesses"].last_hash) == 64
    assert (found["home_log"].rows, found["home_log"].last_hash) == (0, "")


CHANGES = {
    "UPDATE caregivers SET family_id = 'F9' WHERE row = 2": (
        "row 2 of caregivers differs from its block in family_id"
    ),
    "UPDATE caregivers SET row_number = 77 WHERE row = 2": (
        "rows 1 to 2 of caregivers are not as they were stored"
    ),
    "DELETE FROM caregivers WHERE row = 3": (
        "rows 3 to 3 of caregivers are not those of their block"
    ),
    "UPDATE accesses SET who = 'N9' WHERE access = 1": (
        "rows 1 to 1 of accesses are not as they were stored"
    ),
    "DELETE FROM accesses WHERE access = 1": (
        "rows 1 to 1 of accesses: 1 were stored and 0 are there"
    ),
    "DELETE FROM chain WHERE table_name = 'accesses' AND link = 1": (
        "link 1 of accesses is missing or was changed"
    ),
    "UPDATE chain SET digest = chain WHERE table_name = 'accesses' AND link = 2": (
        "link 2 of accesses is missing or was changed"
    ),
    "INSERT INTO accesses (access, at, what) VALUES (7, 1, 'signed_in')": (
        "rows after 2 of accesses were added by another program"
    ),
}


def test_the_first_difference_is_named(filled: Store) -> None:
    assert {statement: found_after(filled, statement) for statement in CHANGES} == CHANGES


OF_EACH_KIND = (
    "UPDATE caregivers SET family_id = 'F9'",
    "DELETE FROM caregivers",
    "DELETE FROM files",
    "UPDATE files SET name = 'x'",
    "UPDATE chain SET n_rows = 0",
)
OF_SQLITE = (
    "INSERT OR REPLACE INTO accesses (access, at, what) VALUES (1, 1, 'signed_in')",
    (
        "INSERT OR REPLACE INTO accesses (access, at, what, note_id) "
        "SELECT 9, 1, 'signed_in', note_id FROM accesses WHERE access = 1"
    ),
    "INSERT OR REPLACE INTO caregivers SELECT * FROM caregivers WHERE row = 1",
    "INSERT OR REPLACE INTO chain SELECT * FROM chain",
)


def test_no_statement_changes_or_replaces_what_is_only_added(filled: Store) -> None:
    more = OF_SQLITE if filled._database.is_sqlite else ("TRUNCATE accesses",)
    answers = [refused(filled, statement) for statement in (*OF_EACH_KIND, *more)]
    assert [answer for answer in answers if "only ever added" not in answer] == []
    assert differences(filled) == []


def test_receipts_that_are_corrected_are_linked_again(filled: Store) -> None:
    with filled._database.writing() as connection:
        assert receipts.correct(connection, [1, 2], 0, 5) == 3
    assert differences(filled) == []
    with filled._database.reading() as connection:
        assert len(chain.links(connection, "caregivers")) == 3


def test_a_store_of_an_earlier_version_is_linked_when_it_is_opened(url: str) -> None:
    old = connect(url, create=True)
    migrate.upgrade(old, "0023")
    with old.changing_tables() as connection:
        connection.exec_driver_sql(
            "INSERT INTO accesses (access, at, what) VALUES (1, 1, 'signed_in')"
        ).close()
    old.let_go()
    with Store.open(url) as opened:
        found = {one.table: one for one in opened.verify()}
        assert differences(opened) == []
        assert found["accesses"].links == 1


def test_a_hash_stays_when_a_blank_column_is_added() -> None:
    rows = pa.table({"row": [1, 2], "note": ["a", None], "done": pa.array([b"x", b""])})
    wider = rows.append_column("mood", pa.nulls(2, pa.string()))
    assert chain.digest_of(rows) == chain.digest_of(wider)
    moved = pa.table({"row": [1, 2], "note": [None, "a"], "done": pa.array([b"x", b""])})
    joined = pa.table({"row": [1, 2], "note": ["a", None], "done": pa.array([b"", b"x"])})
    assert len({chain.digest_of(t) for t in (rows, moved, joined)}) == 3


def test_a_hash_does_not_depend_on_how_cells_lie_in_memory() -> None:
    texts = ["left out", "a", None, "", "word"]
    plain = pa.table({"note": texts[1:], "n": [1, None, 3, 4]})
    offsets = pa.array([0, 8, 9, 14, 14, 18], pa.int32()).buffers()[1]
    bytes_behind_a_blank = pa.StringArray.from_buffers(
        5, offsets, pa.py_buffer(b"left outabytesword"), pa.array([1, 1, None, 1, 1]).buffers()[0]
    )
    note = bytes_behind_a_blank.slice(1)
    assert note.to_pylist() == texts[1:]
    parts = pa.chunked_array([note.slice(0, 1), note.slice(1)])
    for cells in (pa.chunked_array([note]), parts):
        found = pa.table({"note": cells, "n": pa.chunked_array([[1, None], [3, 4]])})
        assert chain.digest_of(found) == chain.digest_of(plain)
    digest = hashlib.sha256(b"n:4;" + bytes([0b01000000]) + np.array([1, 0, 3, 4]).tobytes())
    digest.update(b"note:4;" + bytes([0b01000000]) + np.array([1, 0, 0, 4]).tobytes() + b"aword")
    assert chain.digest_of(plain) == digest.digest()
