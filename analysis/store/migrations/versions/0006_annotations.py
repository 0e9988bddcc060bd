"""Notes on the rates; rows are only ever added, also to withdraw one."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0006"
down_revision = "0005"

ONLY_ADDED = "annotations are only ever added"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "annotations",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("on_day", WHOLE),
        sa.Column("site", sa.Text()),
        sa.Column("text", sa.Text()),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sa.Column("withdraws", WHOLE),
        sqlite_strict=True,
    )
    rows_only_added("annotations", ONLY_ADDED)
