"""Which arrangements about families were recorded, and which were undone?"""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import RecordedBeforeError, StoreError
from analysis.store.frames import typed
from analysis.store.numbers import next_number
from analysis.store.schema import arrangements
from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of
from analysis.tables.records import KNOWN

ALL_ARRANGEMENTS = Frame(
    "all_arrangements",
    "one row an arrangement, in the order of recording, also undone ones",
    (
        *KNOWN["arrangements"].columns,
        Column.of(field_of("undone_at"), blank="not undone"),
        Column.of(field_of("undone_by"), blank="not undone"),
    ),
    key=("row",),
)


def record(connection: sa.Connection, made_by: str, form: str | None, **values: object) -> int:
    """Add an arrangement; returns its row.

    Raises
    ------
    RecordedBeforeError
        This person sent the form before. A rule of the table holds several processes to it.
    """
    acts = arrangements
    same = (acts.c.made_by == made_by, acts.c.form == form)
    if form is not None and connection.execute(sa.select(acts.c.row).where(*same)).first():
        raise RecordedBeforeError("The arrangement of this form is recorded already.")
    row = next_number(connection, acts.c.row)
    connection.execute(sa.insert(acts).values(row=row, made_by=made_by, form=form, **values))
    return row


def undo(connection: sa.Connection, row: int, made_by: str, made_at: int) -> None:
    """Add the row that undoes an arrangement; `made_at` in microseconds UTC.

    Raises
    ------
    StoreError
        There is none with this number, or it was undone already.
    """
    acts = arrangements
    act = connection.execute(
        sa.select(acts.c.family_id, acts.c.takes_back).where(acts.c.row == row)
    ).first()
    if act is None or act.takes_back is not None:
        raise StoreError(
            f"There is no arrangement number {row}. Look up the family's arrangements."
        )
    undone = sa.select(acts.c.row).where(acts.c.takes_back == row)
    if connection.execute(undone).first() is not None:
        raise StoreError(f"The arrangement number {row} was undone already.")
    connection.execute(
        sa.insert(acts).values(
            row=next_number(connection, acts.c.row),
            family_id=act.family_id,
            made_by=made_by,
            made_at=made_at,
            takes_back=row,
        )
    )


def every(connection: sa.Connection, family_id: str | None) -> pd.DataFrame:
    """Every arrangement about one family or all, undone ones too; see `ALL_ARRANGEMENTS`."""
    acts = arrangements
    undone = acts.alias("undone")
    query = (
        sa.select(*acts.c, undone.c.made_at.label("undone_at"), undone.c.made_by.label("undone_by"))
        .join_from(acts, undone, undone.c.takes_back == acts.c.row, isouter=True)
        .where(acts.c.takes_back.is_(None))
    )
    if family_id is not None:
        query = query.where(acts.c.family_id == family_id)
    table = bulk.fetch(connection, query)
    return ALL_ARRANGEMENTS.check(typed(table.sort_by("row"), ALL_ARRANGEMENTS))
