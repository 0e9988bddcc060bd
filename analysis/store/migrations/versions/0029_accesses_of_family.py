"""Who opened a family a moment ago is found without reading many acts."""

from alembic import op

revision = "0029"
down_revision = "0028"


def upgrade() -> None:
    """Add the index."""
    op.create_index("accesses_family", "accesses", ["family_id", "what", "at"])
