"""Contents and keys of rows are hashed by the names of their filled columns.

Before, a hash joined all columns of the table, blank ones too, so that every column added later
would have made each row sent again a new one. The hashes of the stored rows are made again here,
so that a row sent after the change is recognised as one stored before it.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import blake2b
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa
from alembic import op

from analysis.store import bulk

revision = "0007"
down_revision = "0006"

ROW_TABLES = {
    "lines": "line_id child_id family_id site nurse line_type lumens# placed_on# home_from#"
    " removed_on# removal_reason left_on# dressing_type change_every_days# dressing_on#"
    " flush_every_days# born# therapy kit_delivery_days# language contact",
    "stays": "child_id from_on# to_on# place dressing_on#",
    "caregivers": "caregiver_id family_id relation",
    "sign_offs": "caregiver_id skill signed_on# outcome kind",
    "home_log": "entry_id line_id family_id caregiver_id done_on# done_at# kind change_reason"
    " dressing_type dressing_condition findings steps_missed kits_left# note",
    "outcomes": "child_id line_id outcome onset_on# confirmed_on#",
}
"""Columns as they were hashed before, in their order; ``#``: whole numbers."""

ROWS_A_PART = 100_000
_BETWEEN, _IS, _BLANK, _VOID = b"\x1f", b"\x1d", b"\x1e", b"\x1fvoid"

_KEYS = sa.table("home_log_keys", sa.column("key"), sa.column("key_row"))

Mask = npt.NDArray[np.bool_]
Columns = Mapping[str, pa.Array]


def upgrade() -> None:
    """Hash every stored row again, so many at a time."""
    connection = op.get_bind()
    for name, described in ROW_TABLES.items():
        table = _table(name, described)
        last = connection.execute(sa.select(sa.func.max(table.c.row))).scalar() or 0
        for start in range(1, last + 1, ROWS_A_PART):
            _rehash(connection, table, start, start + ROWS_A_PART)


def _table(name: str, described: str) -> sa.Table:
    own = [
        sa.Column(column.rstrip("#"), sa.BigInteger() if column.endswith("#") else sa.Text())
        for column in described.split()
    ]
    whole = [sa.Column(each, sa.BigInteger()) for each in ("row", "key_row", "void")]
    content = sa.Column("content", sa.LargeBinary())
    return sa.Table(name, sa.MetaData(), *whole, content, *own, sa.Column("extra", sa.Text()))


def _rehash(connection: sa.Connection, table: sa.Table, first: int, end: int) -> None:
    query = sa.select(*table.c).where(table.c.row >= first, table.c.row < end)
    rows = bulk.fetch(connection, query).combine_chunks()
    if not rows.num_rows:
        return
    void = np.asarray(rows["void"].to_numpy()) != 0
    given = _as_given(table.name, rows, void)
    texts = _by_name(given)
    hashes = pa.table(
        {"row": rows["row"], "content": pa.array(_hashes(texts, void), pa.binary(16))}
    )
    staged = bulk.stage(connection, "hashed_again", hashes)
    again = sa.update(table).values(content=staged.c.content)
    connection.execute(again.where(staged.c.row == table.c.row))
    if table.name == "home_log":
        _name_again(connection, rows, _hashes(texts, np.zeros(len(void), bool)))


def _as_given(name: str, rows: pa.Table, void: Mask) -> Columns:
    """Columns of the rows as their files gave them, canonical: bytes, null where blank."""
    columns = {
        column: rows[column].combine_chunks().cast(pa.string()).cast(pa.binary())
        for column in rows.column_names
        if column not in {"row", "key_row", "void", "content"}
    }
    if name != "home_log":
        return columns
    nothing = pa.scalar(None, pa.binary())
    timed = columns["done_at"].is_valid()
    columns["done_on"] = pc.if_else(timed, nothing, columns["done_on"])
    # Both codes are stored, the one that was not given filled in: the old hash tells which.
    by_line = {**columns, "family_id": pa.nulls(rows.num_rows, pa.binary())}
    by_family = {**columns, "line_id": pa.nulls(rows.num_rows, pa.binary())}
    stored = rows["content"].to_pylist()
    before = _hashes(_by_place(by_family), void)
    family = pa.array([old == new for old, new in zip(stored, before, strict=True)])
    return {
        **columns,
        "line_id": pc.if_else(family, nothing, columns["line_id"]),
        "family_id": pc.if_else(family, columns["family_id"], by_line["family_id"]),
    }


def _name_again(connection: sa.Connection, rows: pa.Table, keys: list[bytes]) -> None:
    """Give entries without a number of the sender's own, which are keyed by content, their key."""
    unnumbered = pc.and_(pc.is_null(rows["entry_id"]), pc.equal(rows["row"], rows["key_row"]))
    named = pa.table({"key": pa.array(keys, pa.binary(16)), "key_row": rows["key_row"]})
    named = named.filter(unnumbered)
    staged = bulk.stage(connection, "named_again", named)
    connection.execute(sa.delete(_KEYS).where(_KEYS.c.key_row.in_(sa.select(staged.c.key_row))))
    stored = sa.select(_KEYS.c.key)
    new = sa.select(staged.c.key, sa.func.min(staged.c.key_row)).group_by(staged.c.key)
    new = new.where(staged.c.key.not_in(stored))
    connection.execute(sa.insert(_KEYS).from_select(["key", "key_row"], new))


def _by_name(columns: Columns) -> list[bytes]:
    """Text of each row: name and value of its filled columns, in alphabetical order."""
    parts: list[Any] = [
        pc.binary_join_element_wise(pa.scalar(name.encode() + _IS), columns[name], pa.scalar(b""))
        for name in sorted(columns)
    ]
    empty = pa.array([b""] * len(parts[0]), pa.binary())
    led = pc.binary_join_element_wise(empty, *parts, pa.scalar(_BETWEEN), null_handling="skip")
    return [text[1:] for text in led.to_pylist()]


def _by_place(columns: Columns) -> list[bytes]:
    """Text of each row as it was before: every column in order, blank ones too."""
    joined = pc.binary_join_element_wise(
        *columns.values(), pa.scalar(_BETWEEN), null_handling="replace", null_replacement=_BLANK
    )
    return list(joined.to_pylist())


def _hashes(texts: list[bytes], void: Mask) -> list[bytes]:
    return [
        blake2b(text + _VOID if gone else text, digest_size=16).digest()
        for text, gone in zip(texts, void.tolist(), strict=True)
    ]
