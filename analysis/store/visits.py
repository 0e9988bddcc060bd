"""What did a person last see on a page, what before this visit, and how is the page set up?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from analysis.store.database import Database
from analysis.store.instants import microseconds, moment_of
from analysis.store.schema import BYTES, TEXT, WHOLE, metadata

visits = sa.Table(
    "visits",
    metadata,
    sa.Column("code", TEXT, primary_key=True),
    sa.Column("page", TEXT, primary_key=True),
    sa.Column("choice", TEXT),
    sa.Column("seen_at", WHOLE),
    sa.Column("seen", BYTES),
    sa.Column("before_at", WHOLE),
    sa.Column("before", BYTES),
    sqlite_strict=True,
)
"""One row a person and page: how it is set up, what was seen last, and what before this visit."""

_OWN = sa.select(visits).where(
    visits.c.code == sa.bindparam("of"), visits.c.page == sa.bindparam("on")
)

NEW_VISIT_AFTER = timedelta(minutes=30)
"""A person who did not look for so long comes back to the page."""
NOTED_AGAIN_AFTER = timedelta(minutes=5)
"""A look at what is unchanged is noted no more often: most looks write nothing."""


@dataclass(frozen=True)
class SeenBefore:
    """What a person saw on a page before this visit, or up to the moment of marking it as seen."""

    at: datetime
    seen: bytes


def seen_before(
    database: Database, code: str, page: str, at: datetime, seen: bytes
) -> tuple[SeenBefore | None, dict[str, Any]]:
    """What was seen before, and the columns to write, none where nothing has to be noted.

    Parameters
    ----------
    database : Database
        The store.
    code, page : str
        Who looks, and at what.
    at : datetime
        The present moment.
    seen : bytes
        What the page shows now.
    """
    row = _first(database.ask(_OWN, {"of": code, "on": page}))
    now = microseconds(at)
    if row is None or row.seen is None:
        return None, {"seen_at": now, "seen": seen}
    if at - moment_of(row.seen_at) > NEW_VISIT_AFTER:
        before = {"before_at": row.seen_at, "before": row.seen}
        return SeenBefore(moment_of(row.seen_at), row.seen), {
            "seen_at": now,
            "seen": seen,
            **before,
        }
    shown = None if row.before is None else SeenBefore(moment_of(row.before_at), row.before)
    is_same = row.seen == seen and abs(at - moment_of(row.seen_at)) < NOTED_AGAIN_AFTER
    return shown, {} if is_same else {"seen_at": now, "seen": seen}


def keep(connection: sa.Connection, code: str, page: str, **values: Any) -> None:
    """Write columns of a person's page, the other ones stay."""
    if connection.execute(_OWN, {"of": code, "on": page}).first() is None:
        connection.execute(sa.insert(visits).values(code=code, page=page, **values))
        return
    own = (visits.c.code == code, visits.c.page == page)
    connection.execute(sa.update(visits).where(*own).values(**values))


def choice(database: Database, code: str, page: str) -> str | None:
    """How a person last set up a page, as the query of its address; None: never."""
    row = _first(database.ask(_OWN, {"of": code, "on": page}))
    return None if row is None else row.choice


def _first(rows: list[Any]) -> Any:
    return rows[0] if rows else None
