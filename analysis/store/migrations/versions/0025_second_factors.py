"""The second factor of people who sign in in two steps."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, add_column

revision = "0025"
down_revision = "0024"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "second_factors",
        sa.Column("code", sa.Text(), primary_key=True),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("confirmed_at", WHOLE),
        sa.Column("recovery", sa.Text(), nullable=False),
        sqlite_strict=True,
    )
    add_column("attempts", "step", WHOLE)
