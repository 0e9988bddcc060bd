"""Training sessions: when, where, in which language, who is invited; rows are only ever added."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0021"
down_revision = "0020"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "training_sessions",
        sa.Column("row", WHOLE, nullable=False),
        sa.Column("session", WHOLE, nullable=False),
        sa.Column("state", sa.Text()),
        sa.Column("held_on", WHOLE),
        sa.Column("starts_at", sa.Text()),
        sa.Column("venue", sa.Text()),
        sa.Column("language", sa.Text()),
        sa.Column("skills", sa.Text()),
        sa.Column("held_by", sa.Text()),
        sa.Column("family_ids", sa.Text()),
        sa.Column("caregiver_ids", sa.Text()),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sa.Column("takes_back", WHOLE),
        sa.Column("form", sa.Text()),
        sa.PrimaryKeyConstraint("row"),
        sqlite_strict=True,
    )
    op.create_index("training_sessions_form", "training_sessions", ["made_by", "form"], unique=True)
    rows_only_added("training_sessions", "training sessions are only ever added")
