"""The reason of a removal of which only one part is given has another name."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Rename the reason of rows refused before."""
    renamed = sa.text("UPDATE refused SET reason = :new WHERE reason = :old")
    op.get_bind().execute(renamed, {"old": "removal_half_told", "new": "removal_incomplete"})
