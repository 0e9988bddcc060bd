"""Acts of the access record have a random number, by which they are moved to the store once."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import add_column

revision = "0019"
down_revision = "0018"


def upgrade() -> None:
    """Add the column."""
    add_column("accesses", "note_id", sa.LargeBinary())
    op.create_index("accesses_note_id", "accesses", ["note_id"], unique=True)
