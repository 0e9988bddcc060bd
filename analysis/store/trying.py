"""How can something be tried on a store, with every check, and leave nothing behind?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa

from analysis.store.database import Database


@dataclass(frozen=True)
class Trial(Database):
    """A database inside one transaction that its owner rolls back.

    Every writing is a savepoint of that transaction, and every reading sees what was written
    before.
    """

    connection: sa.Connection = field(kw_only=True)

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Hand out the connection of the transaction."""
        yield self.connection

    def ask(self, query: sa.Select[Any], given: Mapping[str, object] | None = None) -> list[Any]:
        """Rows of a query on the connection of the transaction."""
        return list(self.connection.execute(query, given or {}))

    @contextmanager
    def changing_tables(self) -> Iterator[sa.Connection]:
        """Hand out the connection; when anything is raised, this writing alone is undone."""
        self._run("SAVEPOINT trial")
        try:
            yield self.connection
        except BaseException:
            self._undo()
            raise
        self._run("RELEASE SAVEPOINT trial")

    @contextmanager
    def never_kept(self) -> Iterator[sa.Connection]:
        """As `changing_tables`, but this writing is undone at the end: a trial inside a trial."""
        self._run("SAVEPOINT trial")
        try:
            yield self.connection
        finally:
            self._undo()

    def _undo(self) -> None:
        self._run("ROLLBACK TO SAVEPOINT trial")
        self._run("RELEASE SAVEPOINT trial")

    def _run(self, statement: str) -> None:
        self.connection.exec_driver_sql(statement).close()


@contextmanager
def trying(database: Database) -> Iterator[Trial]:
    """A database on which anything may be tried; all of it is undone when the block ends.

    Other writers wait meanwhile, as for an ingest.
    """
    with database.never_kept() as connection:
        yield Trial(database.place, database.engine, database.readers, connection=connection)
