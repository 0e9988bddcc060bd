"""Doubtful entries are found without reading all."""

import sqlalchemy as sa
from alembic import op

revision = "0028"
down_revision = "0027"


def upgrade() -> None:
    """Add the index."""
    doubted = sa.text("doubts IS NOT NULL")
    op.create_index(
        "home_log_doubted", "home_log", ["row"], sqlite_where=doubted, postgresql_where=doubted
    )
