"""Which calls were recorded, and which were taken back?"""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import RecordedBeforeError, StoreError
from analysis.store.frames import typed
from analysis.store.schema import calls, next_number
from analysis.tables.columns import Column, Frame, Kind
from analysis.tables.records import KNOWN

ALL_CALLS = Frame(
    "all_calls",
    "one row a recorded call, in the order of recording, also those taken back",
    (
        *KNOWN["calls"].columns,
        Column("undone_at", Kind.INSTANT, "when it was taken back", "UTC", blank="it stands"),
        Column("undone_by", Kind.TEXT, "staff code of who took it back", blank="it stands"),
    ),
    key=("row",),
)


def record(connection: sa.Connection, made_by: str, form: str | None, **values: object) -> int:
    """Add a call; returns its row.

    Raises
    ------
    RecordedBeforeError
        This person sent the form before. A rule of the table holds several processes to it.
    """
    same = (calls.c.made_by == made_by, calls.c.form == form)
    if form is not None and connection.execute(sa.select(calls.c.row).where(*same)).first():
        raise RecordedBeforeError("The call of this form is recorded already.")
    row = next_number(connection, calls.c.row)
    connection.execute(sa.insert(calls).values(row=row, made_by=made_by, form=form, **values))
    return row


def take_back(connection: sa.Connection, row: int, made_by: str, made_at: int) -> None:
    """Add the row that takes a call back; `made_at` in microseconds UTC.

    Raises
    ------
    StoreError
        There is no such call, or it was taken back already.
    """
    call = connection.execute(
        sa.select(calls.c.family_id, calls.c.takes_back).where(calls.c.row == row)
    ).first()
    if call is None or call.takes_back is not None:
        raise StoreError(f"There is no recorded call number {row}. Look up the family's calls.")
    undone = sa.select(calls.c.row).where(calls.c.takes_back == row)
    if connection.execute(undone).first() is not None:
        raise StoreError(f"The recorded call number {row} was taken back already.")
    connection.execute(
        sa.insert(calls).values(
            row=next_number(connection, calls.c.row),
            family_id=call.family_id,
            made_by=made_by,
            made_at=made_at,
            takes_back=row,
        )
    )


def all_calls(connection: sa.Connection, family_id: str | None) -> pd.DataFrame:
    """Every call of one family or of all; columns as in `ALL_CALLS`."""
    undo = calls.alias("undo")
    query = (
        sa.select(*calls.c, undo.c.made_at.label("undone_at"), undo.c.made_by.label("undone_by"))
        .join_from(calls, undo, undo.c.takes_back == calls.c.row, isouter=True)
        .where(calls.c.takes_back.is_(None))
    )
    if family_id is not None:
        query = query.where(calls.c.family_id == family_id)
    table = bulk.fetch(connection, query)
    return ALL_CALLS.check(typed(table.sort_by("row"), ALL_CALLS))
