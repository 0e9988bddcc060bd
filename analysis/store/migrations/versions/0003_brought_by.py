"""Who brought a file to the dashboard; blank for the command line."""

import sqlalchemy as sa

from analysis.store.migrations.steps import add_column

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the column."""
    add_column("files", "brought_by", sa.Text())
