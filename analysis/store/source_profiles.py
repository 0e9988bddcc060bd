"""How does each source write its files, as somebody described it, in every version?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from analysis.store.instants import moment_of
from analysis.store.numbers import next_number
from analysis.store.schema import source_profiles


@dataclass(frozen=True)
class StoredSource:
    """A source profile as it is stored: its name, TOML text, and which version, who stored it and when."""

    name: str
    version: int
    text: str
    made_by: str
    made_at: datetime


def every(connection: sa.Connection) -> list[StoredSource]:
    """Every version of every source profile, oldest first; versions count from 1."""
    found = connection.execute(sa.select(source_profiles).order_by(source_profiles.c.row))
    versions: dict[str, int] = {}
    sources = []
    for row in found.all():
        versions[row.name] = versions.get(row.name, 0) + 1
        made_at = moment_of(row.made_at)
        sources.append(StoredSource(row.name, versions[row.name], row.text, row.made_by, made_at))
    return sources


def add(connection: sa.Connection, name: str, text: str, made_by: str, made_at: int) -> int:
    """Store a source profile; returns its version."""
    cells = {
        "row": next_number(connection, source_profiles.c.row),
        "name": name,
        "text": text,
        "made_by": made_by,
        "made_at": made_at,
    }
    connection.execute(sa.insert(source_profiles).values(cells))
    of_name = sa.select(sa.func.count()).where(source_profiles.c.name == name)
    return int(connection.execute(of_name).scalar_one())
