"""Which form a call was typed into, so that a form sent twice records one call."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import add_column

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the column and its rule."""
    add_column("calls", "form", sa.Text())
    op.create_index("calls_form", "calls", ["made_by", "form"], unique=True)
