"""What each person last saw on a page, and how it was set up there."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE

revision = "0020"
down_revision = "0019"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "visits",
        sa.Column("code", sa.Text(), primary_key=True),
        sa.Column("page", sa.Text(), primary_key=True),
        sa.Column("choice", sa.Text()),
        sa.Column("seen_at", WHOLE),
        sa.Column("seen", sa.LargeBinary()),
        sa.Column("before_at", WHOLE),
        sa.Column("before", sa.LargeBinary()),
        sqlite_strict=True,
    )
