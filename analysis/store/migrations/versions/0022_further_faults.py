"""What else is wrong with a refused row."""

import sqlalchemy as sa

from analysis.store.migrations.steps import add_column

revision = "0022"
down_revision = "0021"


def upgrade() -> None:
    """Add the column; rows refused before are listed with their first fault alone."""
    add_column("refused", "further", sa.Text())
