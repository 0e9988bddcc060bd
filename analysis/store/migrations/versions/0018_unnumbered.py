"""Entries without a number are found by line and day, to see which look like corrections."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"


def upgrade() -> None:
    """Add the index."""
    unnumbered = sa.text("entry_id IS NULL")
    op.create_index(
        "home_log_unnumbered",
        "home_log",
        ["line_id", "done_on"],
        sqlite_where=unnumbered,
        postgresql_where=unnumbered,
    )
