"""What was written in cells that were read as something else, from now on."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, add_column

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "originals",
        sa.Column("block", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("file", WHOLE, nullable=False),
        sa.Column("table_name", sa.Text(), nullable=False),
        sa.Column("sheet", sa.Text()),
        sa.Column("first_row", WHOLE, nullable=False),
        sa.Column("last_row", WHOLE, nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sqlite_strict=True,
    )
    op.create_index("ix_originals_file", "originals", ["file"])
    add_column("file_counts", "originals", WHOLE)
