"""How are all refused rows of one cause corrected at once, shown before, and undone?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import pandas as pd

from analysis.ingest.fixing_causes import ORDERS, Cause, causes, fix_cause, rows_of
from analysis.ingest.sentences import why
from analysis.policy import Policy
from analysis.store import Store, StoreError
from analysis.tables import INCOMING, Kind
from dashboard.incoming.views import CauseChoice, CauseEffect
from dashboard.session.forms import FormError
from dashboard.session.ingesting import PATIENCE_SECONDS

FEWEST_ROWS = 2
"""Rows of one cause from which one correction for all of them is offered."""
MOST_CAUSES = 20
FIRST_ROWS = 3
LONGEST_VALUE = 1000
"""Characters that may be written into a cell of many rows."""


def choices(rows: pd.DataFrame) -> tuple[CauseChoice, ...]:
    """Causes of several rows, most rows first."""
    several = [one for one, n in causes(rows) if n >= FEWEST_ROWS][:MOST_CAUSES]
    return tuple(_choice(one, rows_of(rows, one)) for one in several)


def choice_of(rows: pd.DataFrame, asked: Sequence[str | None]) -> CauseChoice | None:
    """The cause that a form names; None: no row of it is on the list."""
    table, column, reason, value = asked
    known = {(c.table, c.column, c.reason, c.value): c for c, _ in causes(rows)}
    one = known.get((table or "", column or "", reason or "", value or None))
    return None if one is None else _choice(one, rows_of(rows, one))


def _choice(one: Cause, rows: pd.DataFrame) -> CauseChoice:
    places = [
        f"{file} row {number}"
        for file, number in rows[["file", "row_number"]].head(FIRST_ROWS).itertuples(index=False)
    ]
    sentence = why(one.table, one.column, one.value, one.reason)
    return CauseChoice(
        table=one.table,
        column=one.column,
        reason=one.reason,
        value=one.value,
        sentence=f"{sentence[:1].upper()}{sentence[1:]}.",
        n_rows=len(rows),
        first_rows=tuple(places),
        answers=_answers(one),
    )


def _answers(one: Cause) -> tuple[tuple[str, str], ...]:
    if one.is_order:
        return tuple((str(order), words) for order, words in ORDERS.items())
    column = next((c for c in INCOMING[one.table].columns if c.name == one.column), None)
    if column is None or column.kind is not Kind.CODE:
        return ()
    return tuple((code, code) for code in column.allowed)


def effect(
    store_url: str,
    one: CauseChoice,
    write: str,
    policy: Policy,
    at: datetime,
    who: str,
    *,
    keep: bool,
) -> CauseEffect:
    """Correct all rows of a cause, or only show what that would do.

    Raises
    ------
    FormError
        Nothing or too much is written, or somebody else is writing to the store.
    """
    write = write.strip()
    allowed = {answer for answer, _ in one.answers}
    if not write or len(write) > LONGEST_VALUE or (allowed and write not in allowed):
        raise FormError("Choose what to write into these cells.")
    cause = Cause(one.table, one.column, one.reason, one.value)
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            if not keep:
                with store.trying() as trial:
                    done = fix_cause(trial, cause, write, policy, at=at, brought_by=who)
                return _counted(done.tables, ())
            before = int(store.ingests()["ingest"].max() or 0)
            done = fix_cause(store, cause, write, policy, at=at, brought_by=who)
            ingests = store.ingests()["ingest"]
            return _counted(done.tables, tuple(int(n) for n in ingests[ingests > before].unique()))
    except StoreError as fault:
        raise FormError(f"Nothing was corrected. {fault}") from None


def _counted(tables: Sequence[object], ingests: tuple[int, ...]) -> CauseEffect:
    def total(name: str) -> int:
        return sum(int(getattr(table, name)) for table in tables)

    return CauseEffect(total("stored"), total("same_as_before"), total("refused"), ingests)


def undo(store_url: str, ingests: Sequence[int], who: str, at: datetime) -> None:
    """Undo corrections by the numbers of their ingests.

    Raises
    ------
    FormError
        They were undone already, or somebody else is writing to the store.
    """
    try:
        with Store.open(store_url, create=False, wait_seconds=PATIENCE_SECONDS) as store:
            store.undo_corrections(ingests, who, at)
    except StoreError as fault:
        raise FormError(str(fault)) from None
