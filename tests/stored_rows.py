"""Rows for the store written as small text tables, and the places where a store can be.

Cells are split by ``|``; an empty cell is blank. `received` is a date (its midnight UTC) or a
moment; dates, months and counts are read by the catalogue; keys and contents are hashed as the
rows say.
"""

from __future__ import annotations

import functools
import hashlib
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from analysis.store import FileInfo, Store
from analysis.store.schema import stored_columns
from analysis.tables import INCOMING, Kind
from tests.postgresql import Server, server_programs

WHOLE = {
    Kind.DATE: pa.int32(),
    Kind.MONTH: pa.int32(),
    Kind.INSTANT: pa.int64(),
    Kind.COUNT: pa.int64(),
}


def microseconds(moment: str) -> int:
    """Microseconds UTC of a date's midnight or of a moment."""
    return int(np.datetime64(moment, "us").astype(np.int64))


def moment(text: str) -> datetime:
    """Aware UTC moment."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def sixteen_bytes(*cells: object) -> bytes:
    """A hash of cells."""
    return hashlib.blake2b(repr(cells).encode(), digest_size=16).digest()


def file_info(number: int = 1, **given: object) -> FileInfo:
    """A file; its number makes its bytes its own."""
    about: dict[str, object] = {
        "name": f"file-{number}.csv",
        "sha256": f"{number:064x}",
        "size": 100 + number,
        "source": "",
        "received_at": microseconds("2031-03-01"),
        "ingested_at": microseconds("2031-03-01T09:00"),
    }
    return FileInfo(**{**about, **given})  # type: ignore[arg-type]


def table_of(text: str) -> list[dict[str, str | None]]:
    """Rows of a text table."""
    lines = [[c.strip() or None for c in line.split("|")] for line in text.strip().splitlines()]
    head = [str(name) for name in lines[0]]
    return [dict(zip(head, line, strict=True)) for line in lines[1:]]


def accepted(table: str, text: str) -> pa.Table:
    """A batch of usable rows, numbered from 2 as in a file with a head row."""
    rows = table_of(text)
    own = stored_columns(table)
    keys = INCOMING[table].key
    content = [tuple(r.get(c.name) for c in own) for r in rows]
    key = [
        sixteen_bytes(*(r.get(c) for c in keys)) if r.get(keys[0]) else sixteen_bytes(*cells)
        for r, cells in zip(rows, content, strict=True)
    ]
    void = [r.get("void") == "yes" for r in rows]
    made = {
        "sheet": pa.array([r.get("sheet") for r in rows], pa.string()),
        "row_number": pa.array(np.arange(2, len(rows) + 2)),
        "received_at": pa.array([microseconds(r["received"] or "") for r in rows], pa.int64()),
        "void": pa.array(void),
        "key": pa.array(key, pa.binary(16)),
        "content": pa.array(
            [sixteen_bytes(v, *c) for v, c in zip(void, content, strict=True)], pa.binary(16)
        ),
        "extra": pa.array([r.get("extra") for r in rows], pa.string()),
        "doubts": pa.array([r.get("doubts") for r in rows], pa.string()),
        "mends": pa.array([int(r["mends"]) if r.get("mends") else None for r in rows], pa.int64()),
    }
    for column in own:
        cells = [_stored(r.get(column.name), column.kind) for r in rows]
        made[column.name] = pa.array(cells, WHOLE.get(column.kind, pa.string()))
    return pa.table(made)


def _stored(cell: str | None, kind: Kind) -> object:
    if cell is None or kind not in WHOLE:
        return cell
    if kind is Kind.COUNT:
        return int(cell)
    if kind is Kind.INSTANT:
        return microseconds(cell)
    return int(np.datetime64(cell, "D").astype(np.int64))


def refused(text: str) -> pa.Table:
    """Refused rows; `key` is the cell whose hash is the key of a caregiver (blank: unknown)."""
    rows = table_of(text)

    def column(name: str, otherwise: str | None = None) -> pa.Array:
        return pa.array([r.get(name) or otherwise for r in rows], pa.string())

    return pa.table(
        {
            "table": column("table", "caregivers"),
            "sheet": column("sheet"),
            "row_number": pa.array([int(r["row_number"] or 0) for r in rows], pa.int64()),
            "received_at": pa.array([microseconds("2031-03-01")] * len(rows), pa.int64()),
            "column": column("column"),
            "value": column("value"),
            "reason": column("reason", "unknown_code"),
            "key": pa.array(
                [sixteen_bytes(r["key"]) if r.get("key") else None for r in rows], pa.binary(16)
            ),
            "mends": pa.array(
                [int(r["mends"]) if r.get("mends") else None for r in rows], pa.int64()
            ),
            "row": column("row", "{}"),
            "raw_hash": pa.array([sixteen_bytes(r["raw"]) for r in rows], pa.binary(16)),
            "further": column("further"),
        }
    )


def put(store: Store, table: str, text: str, number: int = 1, **info: object) -> tuple[int, int]:
    """Store one file of usable rows; how many were stored and how many were the same."""
    with store.writing(file_info(number, **info)) as writer:
        added = writer.add(table, accepted(table, text))
    return added.stored, added.same_as_before


PLACES = ["sqlite", "postgresql"]
if server_programs() is None:
    PLACES.remove("postgresql")
    sys.stderr.write(
        "PostgreSQL's server programs are not installed (Debian: postgresql): the store's tests "
        "are collected for SQLite alone.\n"
    )


@functools.cache
def server() -> Server:
    """The PostgreSQL server of these tests."""
    return Server()


def new_database() -> str:
    """Address of a new and empty PostgreSQL database."""
    return server().new_database()


@pytest.fixture(params=PLACES)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of a store that isn't there yet, on each kind of database."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path}/store.sqlite"
    return new_database()


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """A new and empty store on each kind of database."""
    with Store.open(url) as opened:
        yield opened
