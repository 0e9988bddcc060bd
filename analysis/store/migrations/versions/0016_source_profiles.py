"""Source profiles: how a source writes its files; rows are only ever added."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "source_profiles",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sqlite_strict=True,
    )
    rows_only_added("source_profiles", "source profiles are only ever added")
