"""Which rights does an account need that works with a store on PostgreSQL, and no more?

The account that owns the database makes the tables and brings them to a new version. People's
programs use another one: it adds rows, sets again the few columns that may change, and can neither
change nor remove what is only ever added, nor make or drop a table.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from analysis.store.chain import LINKED, chain
from analysis.store.faults import StoreError
from analysis.store.schema import ROWS, file_counts, files, metadata, refused, refused_resolved

ONLY_ADDED = frozenset({*LINKED, chain.name, file_counts.name, refused_resolved.name})
"""Tables whose rows are only ever added."""
SET_AGAIN = ("received_at", "done_on", "called_on")
"""Columns of these that a correction of receipts or a new time zone sets again."""


def grants(role: str) -> Iterator[str]:
    """Statements that give a role these rights, for the owner of the database to run.

    Raises
    ------
    StoreError
        It is no plain name of a role.
    """
    if not re.fullmatch(r"[a-z_][a-z0-9_]{0,62}", role):
        raise StoreError(
            f"{role} is no plain name of a role. Use lower-case letters, digits and underscores."
        )
    yield f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {role};"
    yield f"REVOKE CREATE ON SCHEMA public FROM {role};"
    yield f"GRANT USAGE ON SCHEMA public TO {role};"
    yield f"GRANT SELECT ON alembic_version TO {role};"
    for name, table in sorted(metadata.tables.items()):
        if name not in ONLY_ADDED:
            yield f"GRANT SELECT, INSERT, UPDATE, DELETE ON {name} TO {role};"
            continue
        yield f"GRANT SELECT, INSERT ON {name} TO {role};"
        again = [column for column in SET_AGAIN if column in table.c]
        if again and name in {*ROWS, files.name, refused.name}:
            yield f"GRANT UPDATE ({', '.join(again)}) ON {name} TO {role};"
