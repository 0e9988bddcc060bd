"""Whether an ingest loaded history, whose receipts are assumed."""

from analysis.store.migrations.steps import WHOLE, add_column

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add the column; blank for every ingest before."""
    add_column("files", "history", WHOLE)
