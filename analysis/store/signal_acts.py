"""What was done about each signal, when, with which state and owner from then on?"""

from __future__ import annotations

import pandas as pd
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.frames import typed
from analysis.store.numbers import next_number
from analysis.store.schema import signal_acts
from analysis.tables.columns import Frame
from analysis.vocabulary import SIGNAL_WORK

SIGNAL_ACTS = Frame.of(
    "signal_acts",
    "one row a step of the work on a signal, in the order of writing",
    "row event site state owner note strength_thousandths made_by made_at",
    key="row",
    blank={"owner": "nobody", "note": "none"},
    detail={"site": "`all` for the programme", "state": "from then on"},
    allowed={"state": tuple(str(state) for state in SIGNAL_WORK)},
)


def add(
    connection: sa.Connection,
    *,
    event: str,
    site: str,
    state: str,
    owner: str | None,
    note: str | None,
    strength_thousandths: int,
    made_by: str,
    made_at: int,
) -> int:
    """Add a step; returns its row. `made_at` in microseconds UTC."""
    row = next_number(connection, signal_acts.c.row)
    values = {
        "event": event,
        "site": site,
        "state": state,
        "owner": owner,
        "note": note,
        "strength_thousandths": strength_thousandths,
        "made_by": made_by,
        "made_at": made_at,
    }
    connection.execute(sa.insert(signal_acts).values(row=row, **values))
    return row


def known(connection: sa.Connection, at: int | None) -> pd.DataFrame:
    """Steps written by an instant (microseconds UTC; None: all); columns as in `SIGNAL_ACTS`."""
    within = sa.true() if at is None else signal_acts.c.made_at <= at
    query = sa.select(*(signal_acts.c[name] for name in SIGNAL_ACTS.names)).where(within)
    return SIGNAL_ACTS.check(typed(bulk.fetch(connection, query).sort_by("row"), SIGNAL_ACTS))
