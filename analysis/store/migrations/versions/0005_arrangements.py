"""What people arranged about a family: who calls it, and until when it is postponed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0005"
down_revision = "0004"

ONLY_ADDED = "rows of arrangements are only ever added"


def upgrade() -> None:
    """Make the table; rows in it stay as they are."""
    op.create_table(
        "arrangements",
        sa.Column("row", WHOLE, nullable=False),
        sa.Column("family_id", sa.Text(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sa.Column("made_on", WHOLE),
        sa.Column("kind", sa.Text()),
        sa.Column("assigned_to", sa.Text()),
        sa.Column("until_on", WHOLE),
        sa.Column("why", sa.Text()),
        sa.Column("takes_back", WHOLE),
        sa.Column("form", sa.Text()),
        sa.PrimaryKeyConstraint("row"),
        sqlite_strict=True,
    )
    op.create_index("arrangements_form", "arrangements", ["made_by", "form"], unique=True)
    rows_only_added("arrangements", ONLY_ADDED)
