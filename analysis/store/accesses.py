"""Who viewed what, and when? Rows are only ever added; triggers hold the store to it.

An act that cannot be added at once, because another program writes to the store, is first in
`pending`, a table of the file next to the store (`analysis.store.sign_in_file`). All readings of
the record read both.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from typing import Any

import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.database import APART, Database, rows_of
from analysis.store.frames import typed
from analysis.store.instants import microseconds, moment_of
from analysis.store.numbers import next_number
from analysis.store.schema import BYTES, TEXT, WHOLE, accesses
from analysis.tables.columns import Frame
from analysis.vocabulary import Access

AGAIN_AFTER = timedelta(minutes=10)
"""The same person opening the same family again within so long is one look."""
OPENED_FOR = timedelta(minutes=15)
"""So long a person who opened a family may still be at it."""
RECORD_LOCK = 5_122_018
"""PostgreSQL: the lock of who adds to the record, taken after any other."""
LOOKS = frozenset({Access.OPENED_FAMILY, Access.REFUSED, Access.SIGN_IN_REFUSED})
"""Acts that are noted once in that time."""

pending = sa.Table(
    "pending",
    sa.MetaData(),
    sa.Column("note_id", BYTES, primary_key=True),
    sa.Column("at", WHOLE, nullable=False),
    sa.Column("who", TEXT),
    sa.Column("what", TEXT, nullable=False),
    sa.Column("family_id", TEXT),
    sa.Column("about", TEXT),
    sqlite_strict=True,
)
"""One row an act that is not in the store yet; `note_id` is random and stays with it."""

_LAST = sa.select(sa.func.max(accesses.c.access))
_NEWEST = (
    sa.select(accesses.c.access, accesses.c.note_id).order_by(accesses.c.access.desc()).limit(1)
)
_WAITING = sa.select(pending.c.note_id)


@dataclass(frozen=True)
class ActsOf:
    """Which acts of the record are asked for; None: of all."""

    who: str | None = None
    family_id: str | None = None
    first: datetime | None = None
    """Acts at or after this moment."""
    before: datetime | None = None

    def where(self, table: sa.Table) -> list[sa.ColumnElement[bool]]:
        """Conditions on the columns of a table of acts."""
        c = table.c
        return [
            *([] if self.who is None else [c.who == self.who]),
            *([] if self.family_id is None else [c.family_id == self.family_id]),
            *([] if self.first is None else [c.at >= microseconds(self.first)]),
            *([] if self.before is None else [c.at < microseconds(self.before)]),
        ]


ALL_ACTS = ActsOf()

ACCESSES = Frame.of(
    "accesses",
    "one row an act that the access record keeps, newest first",
    "access at who what family_id about",
    key="access",
    blank={
        "who": "no user has the code typed in",
        "family_id": "no single family",
        "about": "nothing more to report",
    },
)


def note(
    connection: sa.Connection,
    who: str | None,
    what: Access,
    family_id: str | None,
    about: str | None,
    at: datetime,
) -> None:
    """Add an act to the record, unless it is a look noted just before."""
    if noted_just_before(connection, who, what, family_id, about, at):
        return
    act: dict[str, object] = {
        "at": microseconds(at),
        "who": who,
        "what": str(what),
        "family_id": family_id,
        "about": about,
        "note_id": secrets.token_bytes(16),
    }
    if _is_apart(connection):
        connection.execute(sa.insert(pending).values(act))
    else:
        _add(connection, [act])


def bring_over(apart: sa.Connection, database: Database, wait_seconds: float | None = None) -> None:
    """Move the pending acts to the record of the store; each is there once, however it ends.

    Parameters
    ----------
    apart : sqlalchemy.Connection
        Writes to the file that holds them.
    database : Database
        The store.
    wait_seconds : float, optional
        As in `Database.noting`.

    Raises
    ------
    StoreError
        Another program writes to the store.
    """
    acts = [dict(row) for row in apart.execute(sa.select(pending).order_by("at")).mappings()]
    if not acts:
        return
    with database.noting(wait_seconds) as connection:
        ids = [act["note_id"] for act in acts]
        query = sa.select(accesses.c.note_id).where(accesses.c.note_id.in_(ids))
        moved = set(connection.scalars(query))
        _add(connection, [act for act in acts if act["note_id"] not in moved])
    apart.execute(sa.delete(pending).where(pending.c.note_id.in_(ids)))


def anything_waits(apart: sa.Connection) -> bool:
    """Whether an act has still to be moved to the store."""
    return apart.execute(sa.select(pending.c.note_id).limit(1)).first() is not None


def _is_apart(asked: sa.Connection | Database) -> bool:
    return bool(asked.engine.get_execution_options().get(APART))


def _add(connection: sa.Connection, acts: list[dict[str, object]]) -> None:
    if connection.dialect.name == "postgresql":  # people are noted under another lock than files
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({RECORD_LOCK})").close()
    for number, act in enumerate(acts, next_number(connection, accesses.c.access)):
        connection.execute(sa.insert(accesses).values(access=number, **act))


def _tables(asked: sa.Connection | Database) -> tuple[sa.Table, ...]:
    """Tables that hold the record together, the one that acts are moved from first.

    Read in this order, also at two moments, no act is missed.
    """
    return (pending, accesses) if _is_apart(asked) else (accesses,)


def noted_just_before(
    asked: sa.Connection | Database,
    who: str | None,
    what: Access,
    family_id: str | None,
    about: str | None,
    at: datetime,
) -> bool:
    """Whether this is a look, and the same one as a moment ago."""
    if what not in LOOKS:
        return False
    look = {
        "by": who,
        "did": str(what),
        "after": microseconds(at - AGAIN_AFTER),
        "until": microseconds(at),  # later ones are from when the clock was ahead
        "family": family_id,
        "of": about,
    }
    return any(rows_of(asked, _same_looks(table), look) for table in _tables(asked))


@cache
def _same_looks(table: sa.Table) -> sa.Select[Any]:
    """One of the same looks within a time; made once, as `_openings`."""
    same = (
        table.c.who.is_not_distinct_from(sa.bindparam("by")),
        table.c.what == sa.bindparam("did"),
        table.c.at > sa.bindparam("after"),
        table.c.at <= sa.bindparam("until"),
        table.c.family_id.is_not_distinct_from(sa.bindparam("family")),
        table.c.about.is_not_distinct_from(sa.bindparam("of")),
    )
    return sa.select(table.c.at).where(*same).limit(1)


@cache
def _openings(table: sa.Table) -> sa.Select[Any]:
    """Who opened a family, and when last; made once, because making it takes longer than asking."""
    query = sa.select(table.c.who, sa.func.max(table.c.at).label("at")).where(
        table.c.family_id == sa.bindparam("family"),
        table.c.what == str(Access.OPENED_FAMILY),
        table.c.who != sa.bindparam("but"),
        table.c.at > sa.bindparam("after"),
        table.c.at <= sa.bindparam("until"),
    )
    return query.group_by(table.c.who)


def opened_by_others(
    database: Database, family_id: str, but: str, at: datetime
) -> list[tuple[str, datetime]]:
    """Who opened a family within `OPENED_FOR` before a moment, and when last; the newest first.

    Parameters
    ----------
    database : Database
        Where acts are recorded.
    family_id, but : str
        Codes of the family and of the person who is left out.
    at : datetime
        The present moment.
    """
    asked = {
        "family": family_id,
        "but": but,
        "after": microseconds(at - OPENED_FOR),
        "until": microseconds(at),
    }
    newest_by: dict[str, int] = {}
    for table in _tables(database):
        for who, opened in database.ask(_openings(table), asked):
            newest_by[who] = max(opened, newest_by.get(who, opened))
    found = sorted(newest_by.items(), key=lambda item: (-item[1], item[0]))
    return [(who, moment_of(opened)) for who, opened in found]


def state(database: Database) -> tuple[tuple[Any, ...], frozenset[bytes]]:
    """What another takes the place of whenever an act is added: the newest one, and those that wait.

    The record of another store has another state, also where it has as many acts.
    """
    waiting = database.ask(_WAITING) if _is_apart(database) else []
    return tuple(database.ask(_NEWEST)), frozenset(act.note_id for act in waiting)


def newest(connection: sa.Connection, most: int | None, acts_of: ActsOf = ALL_ACTS) -> pd.DataFrame:
    """The record, newest first, at most so many rows; columns as in `ACCESSES`."""
    shown = [c for c in accesses.c if c is not accesses.c.note_id]
    query = sa.select(*shown).where(*acts_of.where(accesses))
    last = connection.execute(_LAST).scalar() or 0
    if most is not None and acts_of == ALL_ACTS:
        query = query.where(accesses.c.access > last - most)
    waiting = _waiting(connection, last, acts_of)
    table = pa.concat_tables([bulk.fetch(connection, query), waiting])
    table = table.sort_by([("access", "descending")]).slice(0, most)
    return ACCESSES.check(typed(table, ACCESSES))


def _waiting(connection: sa.Connection, last: int, acts_of: ActsOf) -> pa.Table:
    """Acts that are not in the store yet, numbered after its last one; columns as in the store."""
    schema = bulk.empty(accesses).drop_columns("note_id").schema
    if not _is_apart(connection):
        return schema.empty_table()
    moved = sa.exists().where(accesses.c.note_id == pending.c.note_id)
    query = sa.select(pending).where(~moved, *acts_of.where(pending)).order_by("at")
    acts = connection.execute(query).mappings()
    rows = [{**act, "access": number} for number, act in enumerate(acts, last + 1)]
    return pa.Table.from_pylist(rows, schema)
