"""How is a call recorded on the page stored: as a row of the table of calls, like one of a file?

It is the only row of an ingest named `PAGE`, and its person that of the ingest. Undoing it adds
a version that withdraws it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from hashlib import blake2b

import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import RecordedBeforeError, StoreError
from analysis.store.frames import typed
from analysis.store.schema import PAGE, ROWS, files, next_number, stored_columns
from analysis.store.writing import FileInfo, Writer
from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind
from analysis.tables.records import KNOWN

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


def record(
    connection: sa.Connection, cells: Mapping[str, object], received_at: int, form: str | None
) -> int:
    """Add a call; returns its row.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The one that writes.
    cells : mapping
        Columns of the table of calls as they are stored; blank ones may be left out.
    received_at : int
        When it was recorded, microseconds UTC.
    form : str or None
        What tells the form that was filled in from any other of the person.

    Raises
    ------
    RecordedBeforeError
        The person sent the form before.
    """
    person = str(cells["called_by"])
    sent = _sha256(person, form if form is not None else repr((sorted(cells.items()), received_at)))
    if form is not None:
        before = sa.select(files.c.file).where(files.c.sha256 == sent, files.c.name == PAGE)
        if connection.execute(before).first() is not None:
            raise RecordedBeforeError("The recorded call of this form is recorded already.")
    _add(connection, cells, received_at, person, sent, void=False)
    return next_number(connection, ROWS[_CALLS].c.row) - 1


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
    of_key = sa.select(calls.c.void).where(
        sa.or_(calls.c.row == call["key_row"], calls.c.key_row == call["key_row"])
    )
    newest = of_key.order_by(calls.c.received_at.desc(), calls.c.row.desc()).limit(1)
    if connection.execute(newest).scalar_one():
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
    # As in `analysis.ingest.identity`: a moment stands for its day.
    filled = {n: str(v) for n, v in cells.items() if v is not None and n != "called_on"}
    key = "\x1f".join(filled[name] for name in INCOMING[_CALLS].key)
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
            "key": pa.array([_hash(key)], pa.binary(16)),
            "content": pa.array([_hash(content + "\x1fvoid" * void)], pa.binary(16)),
            "extra": pa.nulls(1, pa.string()),
            "doubts": pa.nulls(1, pa.string()),
            "mends": pa.nulls(1, pa.int64()),
            **own,
        }
    )
    added = writer.add(_CALLS, row)
    writer.count(_CALLS, 1, added.stored, added.same_as_before, 0, 0)


def _hash(text: str) -> bytes:
    return blake2b(text.encode(), digest_size=16).digest()


def _sha256(person: str, what: str) -> str:
    return hashlib.sha256(f"{person}\x1f{what}".encode()).hexdigest()
