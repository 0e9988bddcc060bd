"""A store whose rows were hashed by the place of their columns is brought to hashes by name."""

from __future__ import annotations

from hashlib import blake2b

import sqlalchemy as sa

from analysis.store import Store
from analysis.store.database import connect
from analysis.store.migrate import upgrade
from tests.stored_rows import url

__all__ = ["url"]

LOG = (
    *("entry_id", "line_id", "family_id", "caregiver_id", "done_on", "done_at", "kind"),
    *("change_reason", "dressing_type", "dressing_condition", "findings", "steps_missed"),
    *("kits_left", "note", "extra"),
)
ROWS: list[dict[str, object]] = [
    {"entry_id": "E1", "line_id": "L1", "done_on": 22_000, "kind": "flush"},
    {"line_id": "L1", "done_on": 22_000, "done_at": 1_900_800_000_000_000, "kind": "flush"},
    {"family_id": "F1", "done_on": 22_000, "kind": "note", "note": 'slept "well"'},
    {"line_id": "L1", "done_on": 22_001, "kind": "note", "extra": '{"Mood":"good"}'},
    {"entry_id": "E1", "line_id": "L1", "done_on": 22_000, "kind": "flush", "void": 1},
]
"""What the files said: a line or a family."""


def digest(text: bytes) -> bytes:
    """A hash as the store holds it."""
    return blake2b(text, digest_size=16).digest()


def cells(row: dict[str, object]) -> dict[str, bytes]:
    """Filled cells that count; a moment stands for its day."""
    given = {n: str(v).encode() for n, v in row.items() if n != "void"}
    if "done_at" in given:
        del given["done_on"]
    return given


def by_place(row: dict[str, object]) -> bytes:
    """Text of a row before: every column in its place, blank ones too."""
    return b"\x1f".join(cells(row).get(name, b"\x1e") for name in LOG)


def by_name(row: dict[str, object]) -> bytes:
    """Text of a row now: name and value of filled columns, by name."""
    return b"\x1f".join(n.encode() + b"\x1d" + v for n, v in sorted(cells(row).items()))


def key(row: dict[str, object], text: bytes) -> bytes:
    """Key of an entry."""
    number = row.get("entry_id")
    return digest(text if number is None else b"entry\x1f" + str(number).encode())


def old_store(url: str) -> None:
    """A store of the revision before, with the rows as that program stored them."""
    database = connect(url, create=True)
    upgrade(database, "0006")
    columns = [*LOG, *("row", "key_row", "received_at", "void", "content", "file", "row_number")]
    log = sa.table("home_log", *(sa.column(name) for name in columns))
    keys = sa.table("home_log_keys", sa.column("key"), sa.column("key_row"))
    with database.changing_tables() as connection:
        first: dict[bytes, int] = {}
        for at, row in enumerate(ROWS, start=1):
            void = b"\x1fvoid" if row.get("void") else b""
            named = key(row, by_place(row))
            if named not in first:
                first[named] = at
                connection.execute(sa.insert(keys).values(key=named, key_row=at))
            stored = {
                "line_id": "L1",
                "family_id": "F1",
                "void": 0,
                **row,
                "row": at,
                "key_row": first[named],
                "received_at": at,
                "file": 1,
                "row_number": at,
                "content": digest(by_place(row) + void),
            }
            connection.execute(sa.insert(log).values(**stored))
    database.let_go()


def test_stored_rows_are_hashed_again_as_their_files_gave_them(url: str) -> None:
    old_store(url)
    with Store.open(url) as now, now._database.reading() as connection:
        found = connection.execute(
            sa.text("SELECT row, key_row, content FROM home_log ORDER BY row")
        ).all()
        query = sa.text("SELECT key_row, key FROM home_log_keys")
        named = {row.key_row: bytes(row.key) for row in connection.execute(query)}
    void = [b"\x1fvoid" if row.get("void") else b"" for row in ROWS]
    assert [bytes(row.content) for row in found] == [
        digest(by_name(row) + end) for row, end in zip(ROWS, void, strict=True)
    ]
    assert [row.key_row for row in found] == [1, 2, 3, 4, 1]
    assert named == {at: key(ROWS[at - 1], by_name(ROWS[at - 1])) for at in (1, 2, 3, 4)}
