"""From which day a version of a line's row holds."""

from analysis.store.migrations.steps import WHOLE, add_column

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add the column."""
    add_column("lines", "valid_from", WHOLE)
