"""How does an older store become one of this version?"""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from analysis.store import faults
from analysis.store.database import Database
from analysis.store.faults import StoreError

MIGRATIONS = Path(__file__).parent / "migrations"


def upgrade(database: Database, revision: str = "head") -> None:
    """Run the migrations up to `revision` in one transaction; nothing to do is no error.

    Raises
    ------
    StoreError
        The tables are those of a newer version of the program.
    """
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    with database.changing_tables() as connection:
        found = MigrationContext.configure(connection).get_current_revision()
        if found is not None and found not in known:
            raise StoreError(faults.NEWER.format(place=database.place))
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
