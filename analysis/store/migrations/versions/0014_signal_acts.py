"""Work on signals: state, owner and notes; rows are only ever added."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "signal_acts",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("event", sa.Text(), nullable=False),
        sa.Column("site", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text()),
        sa.Column("note", sa.Text()),
        sa.Column("strength_thousandths", WHOLE, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sqlite_strict=True,
    )
    rows_only_added("signal_acts", "work on signals is only ever added")
