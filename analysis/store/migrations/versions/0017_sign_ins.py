"""Which server a sign-in holds at, where it came from, and how many tries an attempt counts for."""

import sqlalchemy as sa

from analysis.store.migrations.steps import WHOLE, add_column

revision = "0017"
down_revision = "0016"


def upgrade() -> None:
    """Add the columns; sign-ins of before hold at no server."""
    add_column("sign_ins", "server", sa.Text())
    add_column("sign_ins", "address", sa.Text())
    add_column("attempts", "tries", WHOLE)
