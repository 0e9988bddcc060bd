"""How does an older store become one of this version?"""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from analysis.store import blocks, chain, faults
from analysis.store.database import Database
from analysis.store.faults import StoreError
from analysis.store.schema import ROWS

NEWEST = "head"
MIGRATIONS = Path(__file__).parent / "migrations"


def upgrade(database: Database, revision: str = NEWEST) -> None:
    """Run the migrations up to `revision` in one transaction; nothing to do is no error.

    Raises
    ------
    StoreError
        The tables are those of a newer version of the program.
    """
    with database.changing_tables() as connection:
        found = MigrationContext.configure(connection).get_current_revision()
        if found is not None and found not in known_revisions():
            raise StoreError(faults.NEWER.format(place=database.place))
        upgrade_on(connection, revision)
        if revision == NEWEST:
            for name in ROWS:
                blocks.catch_up(connection, name)
            chain.catch_up(connection)


def upgrade_on(connection: sa.Connection, revision: str = NEWEST) -> None:
    """Run the migrations up to `revision` in the transaction that is open on the connection."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def known_revisions() -> set[str]:
    """Revisions of the schema that this version of the program knows."""
    return {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    return config
