"""Policies of the programme: their text, who set them and when; rows are only ever added."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "policies",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("policy_file", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("time_zone", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sqlite_strict=True,
    )
    rows_only_added("policies", "policies are only ever added")
