"""Which person of the hospital's sign-in a user is; blank: a local account."""

import sqlalchemy as sa

from analysis.store.migrations.steps import add_column

revision = "0026"
down_revision = "0025"


def upgrade() -> None:
    """Add the column."""
    add_column("users", "subject", sa.Text())
