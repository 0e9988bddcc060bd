"""Which calls and arrangements were recorded, and which were taken back?"""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import RecordedBeforeError, StoreError
from analysis.store.frames import typed
from analysis.store.schema import arrangements, calls, next_number
from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of
from analysis.tables.records import KNOWN

SAID = {calls.name: "recorded call", arrangements.name: "arrangement"}


def _every(name: str) -> Frame:
    return Frame(
        f"all_{name}",
        f"one row a {SAID[name]}, in the order of recording, also undone ones",
        (
            *KNOWN[name].columns,
            Column.of(field_of("undone_at"), blank="not undone"),
            Column.of(field_of("undone_by"), blank="not undone"),
        ),
        key=("row",),
    )


ALL_CALLS = _every(calls.name)
ALL_ARRANGEMENTS = _every(arrangements.name)
_FRAMES = {calls.name: ALL_CALLS, arrangements.name: ALL_ARRANGEMENTS}


def record(
    connection: sa.Connection, acts: sa.Table, made_by: str, form: str | None, **values: object
) -> int:
    """Add a call or an arrangement; returns its row.

    Raises
    ------
    RecordedBeforeError
        This person sent the form before. A rule of the table holds several processes to it.
    """
    same = (acts.c.made_by == made_by, acts.c.form == form)
    if form is not None and connection.execute(sa.select(acts.c.row).where(*same)).first():
        raise RecordedBeforeError(f"The {SAID[acts.name]} of this form is recorded already.")
    row = next_number(connection, acts.c.row)
    connection.execute(sa.insert(acts).values(row=row, made_by=made_by, form=form, **values))
    return row


def take_back(
    connection: sa.Connection, acts: sa.Table, row: int, made_by: str, made_at: int
) -> None:
    """Add the row that takes a call or an arrangement back; `made_at` in microseconds UTC.

    Raises
    ------
    StoreError
        There is none with this number, or it was taken back already.
    """
    said = SAID[acts.name]
    act = connection.execute(
        sa.select(acts.c.family_id, acts.c.takes_back).where(acts.c.row == row)
    ).first()
    if act is None or act.takes_back is not None:
        raise StoreError(f"There is no {said} number {row}. Look up the family's {acts.name}.")
    undone = sa.select(acts.c.row).where(acts.c.takes_back == row)
    if connection.execute(undone).first() is not None:
        raise StoreError(f"The {said} number {row} was taken back already.")
    connection.execute(
        sa.insert(acts).values(
            row=next_number(connection, acts.c.row),
            family_id=act.family_id,
            made_by=made_by,
            made_at=made_at,
            takes_back=row,
        )
    )


def every(connection: sa.Connection, acts: sa.Table, family_id: str | None) -> pd.DataFrame:
    """Every call or arrangement of one family or of all; columns as in `ALL_CALLS` and the like."""
    undo = acts.alias("undo")
    query = (
        sa.select(*acts.c, undo.c.made_at.label("undone_at"), undo.c.made_by.label("undone_by"))
        .join_from(acts, undo, undo.c.takes_back == acts.c.row, isouter=True)
        .where(acts.c.takes_back.is_(None))
    )
    if family_id is not None:
        query = query.where(acts.c.family_id == family_id)
    table = bulk.fetch(connection, query)
    frame = _FRAMES[acts.name]
    return frame.check(typed(table.sort_by("row"), frame))
