"""How is a call recorded on the page stored: as a row of the table of calls, like one of a file?

It is the only row of an ingest named `PAGE`, brought by the person who recorded it. Undoing it
adds a version that withdraws it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import blake2b
from typing import Any

import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.days import day_number
from analysis.store import bulk
from analysis.store.faults import (
    CallExistsError,
    RecordedBeforeError,
    RecordedSinceError,
    StoreError,
)
from analysis.store.frames import typed
from analysis.store.instants import microseconds
from analysis.store.numbers import next_number
from analysis.store.schema import KEYS, PAGE, ROWS, files, stored_columns
from analysis.store.writing import FileInfo, Writer
from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind
from analysis.tables.records import KNOWN
from analysis.vocabulary import CallOutcome

_CALLS = "calls"
_ARROW = {Kind.TEXT: pa.string(), Kind.CODE: pa.string(), Kind.DATE: pa.int64()}

ALL_CALLS = Frame(
    "all_calls",
    "one row a recorded call in its newest version, also undone ones, in the order of recording",
    (
        *KNOWN[_CALLS].columns,
        Column.of(field_of("undone_at"), blank="not undone"),
        Column.of(field_of("undone_by"), blank="not undone"),
    ),
    key=("row",),
)


@dataclass(frozen=True)
class NewCall:
    """A call to a family, to be recorded."""

    family_id: str
    called_by: str
    outcome: CallOutcome
    called_at: datetime
    """UTC where it has no offset."""
    called_on: date | None = None
    """Its day in the programme's zone; None: the UTC date."""
    agreed: str | None = None
    recheck_on: date | None = None
    """Day from which the family is on the list again; None: the policy's default."""
    note: str | None = None
    since: int | None = None
    """Row of the newest call to the family that its person knew of; None: not asked for."""

    def cells(self) -> dict[str, object]:
        """Columns of the table of calls as they are stored."""
        at = microseconds(self.called_at)
        on, recheck = self.called_on, self.recheck_on
        return {
            "family_id": self.family_id,
            "called_on": at // 86_400_000_000 if on is None else day_number(on),
            "called_at": at,
            "called_by": self.called_by,
            "outcome": str(CallOutcome(self.outcome)),
            "agreed": self.agreed,
            "recheck_on": None if recheck is None else day_number(recheck),
            "note": self.note,
        }


def record(
    connection: sa.Connection, call: NewCall, recorded_by: str, recorded_at: int, form: str | None
) -> int:
    """Add a call; returns its row.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The one that writes.
    call : NewCall
        The call.
    recorded_by : str
        Who records it; not always the person who called.
    recorded_at : int
        When it is recorded, microseconds UTC.
    form : str or None
        What tells the form that was filled in from any other of the person.

    Raises
    ------
    RecordedBeforeError
        The person sent the form before.
    RecordedSinceError
        Another call to the family was recorded since.
    CallExistsError
        The same person's call to the family at the same moment is recorded.
    """
    cells = call.cells()
    sent = _sha256(
        recorded_by, form if form is not None else repr((sorted(cells.items()), recorded_at))
    )
    if form is not None:
        before = sa.select(files.c.file).where(files.c.sha256 == sent, files.c.name == PAGE)
        if connection.execute(before).first() is not None:
            raise RecordedBeforeError("The recorded call of this form is recorded already.")
        if _is_in_force(connection, _key(_filled(cells))):
            raise CallExistsError(call.family_id, call.called_by)
    if call.since is not None:
        _check_none_since(connection, call.family_id, call.since)
    _add(connection, cells, recorded_at, recorded_by, sent, void=False)
    return next_number(connection, ROWS[_CALLS].c.row) - 1


def _is_in_force(connection: sa.Connection, key: bytes) -> bool:
    """Whether a call of this key is stored and not undone."""
    calls, keys = ROWS[_CALLS], KEYS[_CALLS]
    first = connection.execute(sa.select(keys.c.key_row).where(keys.c.key == key)).scalar()
    if first is None:
        return False
    return not connection.execute(_newest_of(calls, first)).scalar_one()


def _newest_of(calls: sa.Table, key_row: int) -> sa.Select[Any]:
    """Whether the newest version of a key withdraws it."""
    of_key = sa.or_(calls.c.row == key_row, calls.c.key_row == key_row)
    newest_first = (calls.c.received_at.desc(), calls.c.row.desc())
    return sa.select(calls.c.void).where(of_key).order_by(*newest_first).limit(1)


def _check_none_since(connection: sa.Connection, family_id: str, since: int) -> None:
    calls = ROWS[_CALLS]
    undone = calls.alias("undone")
    is_undone = sa.exists().where(
        undone.c.key_row == calls.c.key_row, undone.c.row > calls.c.row, undone.c.void == 1
    )
    later = (
        sa.select(calls.c.row, calls.c.called_by, calls.c.called_at, calls.c.outcome)
        .where(calls.c.row > since, calls.c.family_id == family_id, calls.c.void == 0, ~is_undone)
        .order_by(calls.c.row.desc())
        .limit(1)
    )
    found = connection.execute(later).first()
    if found is not None:
        raise RecordedSinceError(*found)


def undo(connection: sa.Connection, row: int, undone_by: str, undone_at: int) -> None:
    """Withdraw a recorded call from `undone_at` on, in microseconds UTC.

    Raises
    ------
    StoreError
        There is none with this number, or it was undone already.
    """
    calls = ROWS[_CALLS]
    query = sa.select(*calls.c).where(calls.c.row == row, calls.c.void == 0)
    call = connection.execute(query).mappings().first()
    if call is None:
        raise StoreError(f"There is no recorded call number {row}. Look up the family's calls.")
    if connection.execute(_newest_of(calls, call["key_row"])).scalar_one():
        raise StoreError(f"The recorded call number {row} was undone already.")
    cells = {column.name: call[column.name] for column in stored_columns(_CALLS)}
    _add(connection, cells, undone_at, undone_by, _sha256(undone_by, f"undo {row}"), void=True)


def every(connection: sa.Connection, family_id: str | None) -> pd.DataFrame:
    """Every call of one family or of all, undone ones too; columns as in `ALL_CALLS`."""
    calls = ROWS[_CALLS]
    query = sa.select(*calls.c, files.c.brought_by).join_from(
        calls, files, files.c.file == calls.c.file
    )
    if family_id is not None:
        query = query.where(calls.c.family_id == family_id)
    # Before: one row a version; after: one row a key, its newest version that is not withdrawn.
    rows = bulk.fetch(connection, query).sort_by(
        [("received_at", "ascending"), ("row", "ascending")]
    )
    frame = typed(rows, KNOWN[_CALLS]).assign(
        key_row=rows["key_row"].to_numpy(),
        void=rows["void"].to_numpy() != 0,
        undone_at=rows["received_at"].to_numpy().astype("datetime64[us]"),
        undone_by=rows["brought_by"].to_pandas().astype("string"),
    )
    newest = frame.drop_duplicates("key_row", keep="last").set_index("key_row")
    undone = newest.loc[newest["void"], ["undone_at", "undone_by"]]
    known = frame[~frame["void"]].drop_duplicates("key_row", keep="last")
    known = known.drop(columns=["undone_at", "undone_by"]).join(undone, on="key_row")
    known = known.sort_values("row", ignore_index=True)
    return ALL_CALLS.check(known.astype({"undone_at": "datetime64[us]", "undone_by": "string"}))


def _add(
    connection: sa.Connection,
    cells: Mapping[str, object],
    received_at: int,
    person: str,
    sent: str,
    *,
    void: bool,
) -> None:
    info = FileInfo(PAGE, sent, 0, "", received_at, received_at, person)
    writer = Writer(connection, info)
    filled = _filled(cells)
    content = "\x1f".join(f"{name}\x1d{filled[name]}" for name in sorted(filled))
    own = {
        column.name: pa.array([cells.get(column.name)], _ARROW.get(column.kind, pa.int64()))
        for column in stored_columns(_CALLS)
    }
    row = pa.table(
        {
            "sheet": pa.nulls(1, pa.string()),
            "row_number": pa.array([1]),
            "received_at": pa.array([received_at]),
            "void": pa.array([void]),
            "key": pa.array([_key(filled)], pa.binary(16)),
            "content": pa.array([_hash(content + "\x1fvoid" * void)], pa.binary(16)),
            "extra": pa.nulls(1, pa.string()),
            "doubts": pa.nulls(1, pa.string()),
            "mends": pa.nulls(1, pa.int64()),
            **own,
        }
    )
    added = writer.add(_CALLS, row)
    writer.count(_CALLS, 1, added.stored, added.same_as_before, 0, 0)


def _filled(cells: Mapping[str, object]) -> dict[str, str]:
    """The cells that are not blank; as in `analysis.ingest.identity` a moment implies its day."""
    return {n: str(v) for n, v in cells.items() if v is not None and n != "called_on"}


def _key(filled: Mapping[str, str]) -> bytes:
    return _hash("\x1f".join(filled[name] for name in INCOMING[_CALLS].key))


def _hash(text: str) -> bytes:
    return blake2b(text.encode(), digest_size=16).digest()


def _sha256(person: str, what: str) -> str:
    return hashlib.sha256(f"{person}\x1f{what}".encode()).hexdigest()
