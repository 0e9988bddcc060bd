"""Which training sessions are planned, and how were they changed?

A change is a further row of the session; the newest one counts. A row with `takes_back` undoes
that row, so that the one before it counts again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import pandas as pd
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.days import day_number
from analysis.store import bulk
from analysis.store.database import Database
from analysis.store.faults import RecordedBeforeError, StoreError
from analysis.store.frames import typed
from analysis.store.instants import microseconds
from analysis.store.numbers import next_number
from analysis.store.schema import training_sessions
from analysis.tables.training_sessions import TRAINING_SESSIONS, SessionPlan


@dataclass(frozen=True)
class Change:
    """A session to be planned (`session` None) or changed.

    `since` is the row that the change was made from: if another one took its place meanwhile,
    the change is refused. None: it is made in any case.
    """

    plan: SessionPlan
    session: int | None = None
    since: int | None = None


class ChangedMeanwhileError(StoreError):
    """Somebody else changed a session after its form was opened."""


class Sessions:
    """The training sessions of a store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def known(self, at: datetime | None = None) -> pd.DataFrame:
        """Sessions as known at an instant, None: now; columns of `TRAINING_SESSIONS`."""
        with self._database.reading() as connection:
            found = _in_force(connection, None if at is None else microseconds(at))
        return found.drop_duplicates("session", keep="last").pipe(_in_order)

    def record(
        self,
        changes: Sequence[Change],
        made_by: str,
        made_at: datetime,
        form: str | None = None,
    ) -> list[int]:
        """Plan or change sessions, all of them or none; returns their numbers.

        Parameters
        ----------
        changes : sequence of Change
            What is planned.
        made_by : str
            Who plans it.
        made_at : datetime
            UTC where it has no offset.
        form : str, optional
            What tells the form that was filled in from any other of the person.

        Raises
        ------
        RecordedBeforeError
            This person sent the form before.
        ChangedMeanwhileError, StoreError
            A session was changed meanwhile, or there is none with its number.
        """
        at = microseconds(made_at)
        with self._database.writing() as connection:
            return [
                _record(connection, change, made_by, at, form and f"{form} {n}" if n else form)
                for n, change in enumerate(changes)
            ]

    def undo(self, session: int, row: int, made_by: str, made_at: datetime) -> bool:
        """Undo the newest change of a session; returns whether the session is still planned.

        Raises
        ------
        ChangedMeanwhileError
            `row` is not its newest change (any more).
        """
        table = training_sessions
        with self._database.writing() as connection:
            rows = _rows_of(connection, session)
            if not rows or rows[-1] != row:
                raise ChangedMeanwhileError(
                    "This change was undone or changed again meanwhile. Reload the page."
                )
            values = {
                "row": next_number(connection, table.c.row),
                "session": session,
                "made_by": made_by,
                "made_at": microseconds(made_at),
                "takes_back": row,
            }
            connection.execute(sa.insert(table).values(values))
            return len(rows) > 1


def _record(
    connection: sa.Connection, change: Change, made_by: str, at: int, form: str | None
) -> int:
    table = training_sessions
    same = (table.c.made_by == made_by, table.c.form == form)
    if form is not None and connection.execute(sa.select(table.c.row).where(*same)).first():
        raise RecordedBeforeError("The session of this form is stored already.")
    session = change.session
    if session is None:
        session = next_number(connection, table.c.session)
    else:
        rows = _rows_of(connection, session)
        if not rows:
            raise StoreError(f"There is no session number {session}. Look up the sessions.")
        if change.since not in (None, rows[-1]):
            raise ChangedMeanwhileError(
                "Somebody else changed this session meanwhile. Reload the page and try again."
            )
    row = next_number(connection, table.c.row)
    values = {"row": row, "session": session, "made_by": made_by, "made_at": at, "form": form}
    connection.execute(sa.insert(table).values(**values, **_cells(change.plan)))
    return session


def _cells(plan: SessionPlan) -> dict[str, object]:
    """The columns of its row."""
    joined = ("skills", "held_by", "family_ids", "caregiver_ids")
    return {
        "state": str(plan.state),
        "held_on": day_number(plan.held_on),
        "starts_at": plan.starts_at,
        "venue": plan.venue,
        "language": plan.language,
        **{name: ";".join(getattr(plan, name)) or None for name in joined},
    }


def _rows_of(connection: sa.Connection, session: int) -> list[int]:
    """The rows of a session that are not undone, oldest first."""
    found = _in_force(connection, None)
    return [int(row) for row in found.loc[found["session"] == session, "row"]]


def _in_force(connection: sa.Connection, at: int | None) -> pd.DataFrame:
    """Every row written by an instant and not undone by then, oldest first."""
    table = training_sessions
    query = sa.select(*table.c).where(sa.true() if at is None else table.c.made_at <= at)
    rows = bulk.fetch(connection, query)
    undone = pc.unique(rows["takes_back"].drop_null())
    holds = pc.and_(
        pc.is_null(rows["takes_back"]), pc.invert(pc.is_in(rows["row"], value_set=undone))
    )
    return typed(rows.filter(holds).sort_by("row"), TRAINING_SESSIONS)


def _in_order(found: pd.DataFrame) -> pd.DataFrame:
    ordered = found.sort_values(["held_on", "starts_at", "session"], ignore_index=True)
    return TRAINING_SESSIONS.check(ordered)
