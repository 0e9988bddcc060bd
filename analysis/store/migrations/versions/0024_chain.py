"""Links with the hashes of added rows; rows that are only ever added can't be replaced either."""

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, not_replaced, rows_only_added

revision = "0024"
down_revision = "0023"

INCOMING = ("lines", "stays", "caregivers", "sign_offs", "home_log", "outcomes", "calls")
MAY_CHANGE = {"received_at", "done_on", "called_on"}
"""Columns that a correction of receipts and a new time zone set again."""
GUARDED = {
    "accesses": ("access", "note_id"),
    "arrangements": ("row", "made_by form"),
    "annotations": ("row",),
    "signal_acts": ("row",),
    "policies": ("row",),
    "source_profiles": ("row",),
    "training_sessions": ("row", "made_by form"),
}
"""Tables that refuse changes already, and the columns by which a row could be replaced."""


def upgrade() -> None:
    """Make the table and the triggers."""
    op.create_table(
        "chain",
        sa.Column("table_name", sa.Text(), primary_key=True),
        sa.Column("link", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("first_row", WHOLE, nullable=False),
        sa.Column("last_row", WHOLE, nullable=False),
        sa.Column("n_rows", WHOLE, nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("chain", sa.LargeBinary(), nullable=False),
        sqlite_strict=True,
    )
    rows_only_added("chain", "links are only ever added")
    not_replaced("chain", ("table_name link",), "links are only ever added")
    for table, numbers in GUARDED.items():
        not_replaced(table, numbers, f"rows of {table} are only ever added")
    of_files = {"files": "file", "refused": "refused_row", "refused_resolved": "refused_row"}
    of_files["file_counts"] = "file table_name"
    for table, number in {**dict.fromkeys(INCOMING, "row"), **of_files}.items():
        message = f"rows of {table} are only ever added"
        rows_only_added(table, message, may_change=MAY_CHANGE)
        not_replaced(table, (number,), message)
