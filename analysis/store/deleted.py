"""Which families were deleted on request, and how is one recognised that a file brings again?

Of a deleted family two things stay: how many rows of each table there were, with their hash, and the
codes of family, children, lines and caregivers as hashes. A code is short: who has the store can find
out whether a code that they know is among these, and no more.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from hashlib import blake2b

import numpy as np
import numpy.typing as npt
import orjson
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store.numbers import next_number
from analysis.store.schema import BYTES, ROWS, TEXT, WHOLE, metadata

deleted_codes = sa.Table(
    "deleted_codes",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("kind", TEXT, nullable=False),
    sa.Column("salt", BYTES, nullable=False),
    sa.Column("hash", BYTES, nullable=False),
    sqlite_strict=True,
)
"""One row a code of a deleted family; `kind` is the column that it was in, `salt` that of the store."""

CODES = ("family_id", "child_id", "line_id", "caregiver_id")
"""Columns that lead to a family."""
REGISTERED_IN = {"child_id": "lines", "line_id": "lines", "caregiver_id": "caregivers"}
"""Tables by whose rows a code is in use."""

Mask = npt.NDArray[np.bool_]


def hash_of(kind: str, code: str, salt: bytes) -> bytes:
    """Hash of a code; upper and lower case give the same."""
    return blake2b(f"{kind}:{plain(code)}".encode(), digest_size=16, key=salt).digest()


def plain(code: str) -> str:
    """A code without its case and the spaces around it."""
    return code.strip().casefold()


def remember(connection: sa.Connection, codes: Mapping[str, Iterable[str]]) -> None:
    """Record the codes of a family, by their column, as hashes."""
    salt = connection.execute(sa.select(deleted_codes.c.salt).limit(1)).scalar()
    salt = secrets.token_bytes(32) if salt is None else bytes(salt)
    listed = [(kind, code) for kind, some in codes.items() for code in sorted(some)]
    for number, (kind, code) in enumerate(listed, next_number(connection, deleted_codes.c.row)):
        row = {"row": number, "kind": kind, "salt": salt, "hash": hash_of(kind, code, salt)}
        connection.execute(sa.insert(deleted_codes).values(row))


class DeletedFamilies:
    """Rows that belong to a deleted family, as one file brings them."""

    def __init__(self, connection: sa.Connection) -> None:
        self._connection = connection
        found = connection.execute(sa.select(deleted_codes)).all()
        self._salt = bytes(found[0].salt) if found else b""
        self._hashes = {(row.kind, bytes(row.hash)) for row in found}

    def family(self, code: str) -> bool:
        """Whether a family of this code was deleted."""
        return self._is_deleted("family_id", code)

    def among(self, rows: pa.Table) -> Mask | None:
        """Which usable rows belong to one; None: none of them."""
        if not self._hashes:
            return None
        found = np.zeros(rows.num_rows, np.bool_)
        for kind in CODES:
            if kind in rows.column_names:
                cells = rows[kind].cast(pa.string())
                codes = [c for c in pc.unique(cells).to_pylist() if c and self._holds(kind, c)]
                found |= np.asarray(pc.is_in(cells, pa.array(codes, pa.string())))
        return found if found.any() else None

    def among_refused(self, wholes: pa.ChunkedArray) -> Mask | None:
        """Which rows that can't be used name one; None: none of them."""
        if not self._hashes:
            return None
        found = np.array(
            [self._names_one(orjson.loads(row)) for row in wholes.to_pylist()], np.bool_
        )
        return found if found.any() else None

    def _names_one(self, cells: Mapping[str, str]) -> bool:
        return any(self._holds(kind, cells[kind]) for kind in CODES if cells.get(kind))

    def _holds(self, kind: str, code: str) -> bool:
        """Whether a code leads to a deleted family: no other family has it now."""
        if not self._is_deleted(kind, code):
            return False
        if kind not in REGISTERED_IN:
            return True
        column = ROWS[REGISTERED_IN[kind]].c[kind]
        there = sa.select(column).where(column == code).limit(1)
        return self._connection.execute(there).first() is None

    def _is_deleted(self, kind: str, code: str) -> bool:
        return bool(self._hashes) and (kind, hash_of(kind, code, self._salt)) in self._hashes
