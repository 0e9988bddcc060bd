"""Who brought a file to the dashboard; blank for the command line."""

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the column."""
    # Closed here: the driver holds what changes a table for a question with an answer to fetch.
    op.get_bind().exec_driver_sql("ALTER TABLE files ADD COLUMN brought_by TEXT").close()


def downgrade() -> None:
    """A store is never taken back to an older version."""
    raise NotImplementedError
