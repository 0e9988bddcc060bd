"""Whose families a nurse who signs in calls: the nurse's code in the line registry."""

import sqlalchemy as sa

from analysis.store.migrations.steps import add_column

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    """Add the column."""
    add_column("users", "caseload", sa.Text())
