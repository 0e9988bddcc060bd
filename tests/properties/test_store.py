"""The store agrees with a slow reading of the rule for versions, row by row.

*Source:* project definition, definitions §2.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from analysis.store import FileInfo, Store, blocks, schema
from analysis.store.versions import Versions, says_something_new, unique_keys
from tests.cases import cases
from tests.stored_rows import PLACES, new_database, sixteen_bytes

numbers = itertools.count()
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Row:
    """A received row, as small as it can be."""

    key: int
    received_at: int
    content: int
    void: bool = False


class Slow:
    """Keeps versions in a list and looks through all of them for every question."""

    def __init__(self) -> None:
        self.stored: list[Row] = []

    def in_force(self, key: int, at: int) -> Row | None:
        found = None
        for row in self.stored:
            known = row.key == key and row.received_at <= at
            if known and (found is None or row.received_at >= found.received_at):
                found = row
        return found

    def add(self, row: Row) -> bool:
        before = self.in_force(row.key, row.received_at)
        new = before is None or (before.content, before.void) != (row.content, row.void)
        if new:
            self.stored.append(row)
        return new

    def known(self, at: int) -> dict[int, int]:
        rows = {key: self.in_force(key, at) for key in {row.key for row in self.stored}}
        return {key: row.content for key, row in rows.items() if row and not row.void}


ROWS = st.builds(
    Row,
    key=st.integers(0, 3),
    received_at=st.integers(0, 5),
    content=st.integers(0, 2),
    void=st.booleans(),
)
BATCHES = st.lists(st.lists(ROWS, max_size=8), min_size=1, max_size=5)


def batch_of(rows: list[Row], name: str) -> pa.Table:
    n = len(rows)
    return pa.table(
        {
            "sheet": pa.nulls(n, pa.string()),
            "row_number": pa.array(np.arange(2, n + 2)),
            "received_at": pa.array([r.received_at for r in rows], pa.int64()),
            "void": pa.array([r.void for r in rows], pa.bool_()),
            "key": pa.array([sixteen_bytes(name, r.key) for r in rows], pa.binary(16)),
            "content": pa.array([sixteen_bytes(r.content, r.void) for r in rows], pa.binary(16)),
            "extra": pa.nulls(n, pa.string()),
            "doubts": pa.nulls(n, pa.string()),
            "caregiver_id": pa.array([f"{name}/{r.key}" for r in rows], pa.string()),
            "family_id": pa.array([str(r.content) for r in rows], pa.string()),
            "relation": pa.nulls(n, pa.string()),
        }
    )


COLUMNS = ["row", "received_at", "void", "caregiver_id", "family_id", "relation"]


def rows_in_blocks(opened: Store) -> list[dict[str, object]]:
    with opened._database.reading() as connection:
        return blocks.read(connection, "caregivers", lambda rows: rows).select(COLUMNS).to_pylist()


def rows_in_table(opened: Store) -> list[dict[str, object]]:
    table = schema.ROWS["caregivers"]
    query = sa.select(*(table.c[name] for name in COLUMNS)).order_by(table.c.row)
    with opened._database.reading() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]


@pytest.fixture(scope="module", params=PLACES)
def store(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Store]:
    folder: Path = tmp_path_factory.mktemp("store")
    here = f"sqlite:///{folder}/store.sqlite"
    with Store.open(here if request.param == "sqlite" else new_database()) as opened:
        yield opened


@given(files=st.lists(BATCHES, min_size=1, max_size=3))
@cases(25, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_known_at_any_time_is_what_the_slow_reading_says(
    store: Store, files: list[list[list[Row]]]
) -> None:
    # Each example has keys of its own in the one store: they never meet.
    slow, name = Slow(), f"example {next(numbers)}"
    for at, batches in enumerate(files):
        info = FileInfo(f"{at}.csv", f"{name}{at}", 1, "", 0, 0)
        with store.writing(info) as writer:
            for rows in batches:
                expected = sum([slow.add(row) for row in rows])
                added = writer.add("caregivers", batch_of(rows, name))
                assert (added.stored, added.same_as_before) == (expected, len(rows) - expected)
    assert rows_in_blocks(store) == rows_in_table(store)
    for at in range(-1, 7):
        found = store.records(EPOCH + timedelta(microseconds=at)).caregivers
        own = found[found["caregiver_id"].str.startswith(f"{name}/").to_numpy(dtype=bool)]
        known = {
            int(key.split("/")[1]): int(content)
            for key, content in zip(own["caregiver_id"], own["family_id"], strict=True)
        }
        assert known == slow.known(at)


def versions_of(rows: list[Row], numbers: np.ndarray, first_row: int) -> Versions:
    return Versions(
        numbers,
        np.array([r.received_at for r in rows], dtype=np.int64),
        np.array([[r.content, r.void] for r in rows], dtype=np.uint64).reshape(-1, 2),
        first_row + np.arange(len(rows), dtype=np.int64),
    )


@given(before=st.lists(ROWS, max_size=12), batch=st.lists(ROWS, max_size=30))
@cases(300)
def test_a_batch_is_judged_as_if_its_rows_came_one_by_one(
    before: list[Row], batch: list[Row]
) -> None:
    slow = Slow()
    for row in before:
        slow.add(row)
    words = np.array([[r.key, r.key % 2] for r in batch], dtype=np.uint64).reshape(-1, 2)
    keys = unique_keys(words)
    number_of = {r.key: int(n) for r, n in zip(batch, keys.number, strict=True)}
    stored = [r for r in slow.stored if r.key in number_of]
    numbers = np.array([number_of[r.key] for r in stored], dtype=np.int64)
    new = says_something_new(
        keys,
        versions_of(batch, keys.number, 1000),
        versions_of(stored, numbers, 1),
    )
    assert new.tolist() == [slow.add(row) for row in batch]


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), max_size=30))
@cases(200)
def test_keys_are_the_same_only_if_all_their_bytes_are(cells: list[tuple[int, int]]) -> None:
    keys = unique_keys(np.array(cells, dtype=np.uint64).reshape(-1, 2))
    unique = sorted(set(cells))
    assert keys.number.tolist() == [unique.index(cell) for cell in cells]
    assert keys.first.tolist() == [cells.index(cell) for cell in unique]
    assert keys.rows_of.tolist() == [cells.count(cell) for cell in unique]
    assert keys.order.tolist() == sorted(range(len(cells)), key=lambda at: (cells[at], at))
