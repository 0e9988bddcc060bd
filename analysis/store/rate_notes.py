"""Which notes on the rates were written, and which were removed?"""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.faults import StoreError
from analysis.store.frames import typed
from analysis.store.numbers import next_number
from analysis.store.schema import rate_notes
from analysis.tables.columns import Frame

ANNOTATIONS = Frame.of(
    "annotations",
    "one row an annotation of the rates, in the order of writing, also those withdrawn",
    "row on_day site text made_by made_at withdrawn_at withdrawn_by",
    key="row",
    blank={"site": "all sites", "withdrawn_at withdrawn_by": "not undone"},
    detail={"site": "that the note is about"},
)


def add(
    connection: sa.Connection,
    *,
    on_day: int,
    text: str,
    site: str | None,
    made_by: str,
    made_at: int,
) -> int | None:
    """Add an annotation; returns its row, None where the same is there already.

    `on_day` in days since 1970-01-01, `made_at` in microseconds UTC.
    """
    back = rate_notes.alias("back")
    same = sa.select(rate_notes.c.row).where(
        rate_notes.c.on_day == on_day,
        rate_notes.c.text == text,
        rate_notes.c.site.is_not_distinct_from(site),
        ~sa.exists().where(back.c.withdraws == rate_notes.c.row),
    )
    if connection.execute(same).first() is not None:
        return None
    row = next_number(connection, rate_notes.c.row)
    written = {"on_day": on_day, "text": text, "site": site}
    connection.execute(
        sa.insert(rate_notes).values(row=row, made_by=made_by, made_at=made_at, **written)
    )
    return row


def withdraw(connection: sa.Connection, row: int, made_by: str, made_at: int) -> None:
    """Add the row that withdraws an annotation; `made_at` in microseconds UTC.

    Raises
    ------
    StoreError
        There is no such annotation, or it was withdrawn already.
    """
    of_row = sa.select(rate_notes.c.withdraws).where(rate_notes.c.row == row)
    found = connection.execute(of_row).first()
    if found is None or found.withdraws is not None:
        raise StoreError(f"There is no annotation number {row}. Look at the list again.")
    gone = sa.select(rate_notes.c.row).where(rate_notes.c.withdraws == row)
    if connection.execute(gone).first() is not None:
        raise StoreError(f"The annotation number {row} was withdrawn already.")
    number = next_number(connection, rate_notes.c.row)
    connection.execute(
        sa.insert(rate_notes).values(row=number, made_by=made_by, made_at=made_at, withdraws=row)
    )


def known(connection: sa.Connection, at: int | None) -> pd.DataFrame:
    """Annotations written by an instant (microseconds UTC; None: all); columns as in `ANNOTATIONS`.

    One removed later than the instant is listed.
    """
    back = rate_notes.alias("back")
    within = sa.true() if at is None else rate_notes.c.made_at <= at
    back_within = sa.true() if at is None else back.c.made_at <= at
    of_row = sa.and_(back.c.withdraws == rate_notes.c.row, back_within)
    query = (
        sa.select(
            *(rate_notes.c[c] for c in ("row", "on_day", "site", "text", "made_by", "made_at")),
            back.c.made_at.label("withdrawn_at"),
            back.c.made_by.label("withdrawn_by"),
        )
        .join_from(rate_notes, back, of_row, isouter=True)
        .where(rate_notes.c.withdraws.is_(None), within)
    )
    return ANNOTATIONS.check(typed(bulk.fetch(connection, query).sort_by("row"), ANNOTATIONS))
