"""Who viewed what, and when? Rows are only ever added; triggers hold the store to it."""

from __future__ import annotations

from datetime import datetime, timedelta

import pandas as pd
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.frames import typed
from analysis.store.instants import microseconds, moment_of
from analysis.store.schema import accesses, next_number
from analysis.tables.columns import Frame
from analysis.vocabulary import Access

AGAIN_AFTER = timedelta(minutes=10)
"""The same person opening the same family again within so long is one look."""
OPENED_FOR = timedelta(minutes=15)
"""So long a person who opened a family may still be at it."""
NEWEST = 2_000
"""Acts among which those who opened a family a moment ago are looked for."""
LOOKS = frozenset({Access.OPENED_FAMILY, Access.REFUSED, Access.SIGN_IN_REFUSED})
"""Acts that are noted once in that time."""

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
    connection.execute(
        sa.insert(accesses).values(
            access=next_number(connection, accesses.c.access),
            at=microseconds(at),
            who=who,
            what=str(what),
            family_id=family_id,
            about=about,
        )
    )


def noted_just_before(
    connection: sa.Connection,
    who: str | None,
    what: Access,
    family_id: str | None,
    about: str | None,
    at: datetime,
) -> bool:
    """Whether this is a look, and the same one as a moment ago."""
    if what not in LOOKS:
        return False
    same = (
        accesses.c.who.is_not_distinct_from(who),
        accesses.c.what == str(what),
        accesses.c.at > microseconds(at - AGAIN_AFTER),
        accesses.c.family_id.is_not_distinct_from(family_id),
        accesses.c.about.is_not_distinct_from(about),
    )
    return (
        connection.execute(sa.select(accesses.c.access).where(*same).limit(1)).first() is not None
    )


def opened_by_others(
    connection: sa.Connection, family_id: str, but: str, at: datetime
) -> list[tuple[str, datetime]]:
    """Who opened a family within `OPENED_FOR` before a moment, and when last; the newest first.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Reads.
    family_id, but : str
        Codes of the family and of the person who is left out.
    at : datetime
        The present moment.
    """
    last = connection.execute(sa.select(sa.func.max(accesses.c.access))).scalar() or 0
    when = sa.func.max(accesses.c.at)
    query = (
        sa.select(accesses.c.who, when)
        .where(
            accesses.c.access > last - NEWEST,
            accesses.c.family_id == family_id,
            accesses.c.what == str(Access.OPENED_FAMILY),
            accesses.c.who != but,
            accesses.c.at > microseconds(at - OPENED_FOR),
        )
        .group_by(accesses.c.who)
        .order_by(when.desc(), accesses.c.who)
    )
    return [(who, moment_of(opened)) for who, opened in connection.execute(query)]


def newest(connection: sa.Connection, most: int | None) -> pd.DataFrame:
    """The record, newest first, at most so many rows; columns as in `ACCESSES`."""
    query = sa.select(accesses)
    if most is not None:
        last = connection.execute(sa.select(sa.func.max(accesses.c.access))).scalar() or 0
        query = query.where(accesses.c.access > last - most)
    table = bulk.fetch(connection, query).sort_by([("access", "descending")])
    return ACCESSES.check(typed(table, ACCESSES))
