"""What is written beside the rates; rows are only ever added, also to withdraw one."""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import sqlite

revision = "0006"
down_revision = "0005"

WHOLE = sa.BigInteger().with_variant(sqlite.INTEGER(), "sqlite")
ONLY_ADDED = "annotations are only ever added"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "annotations",
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("on_day", WHOLE),
        sa.Column("site", sa.Text()),
        sa.Column("text", sa.Text()),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("made_at", WHOLE, nullable=False),
        sa.Column("withdraws", WHOLE),
        sqlite_strict=True,
    )
    if op.get_bind().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER annotations_no_{act.lower()} BEFORE {act} ON annotations "
                f"BEGIN SELECT RAISE(ABORT, '{ONLY_ADDED}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION annotations_only_added() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{ONLY_ADDED}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER annotations_stay BEFORE UPDATE OR DELETE OR TRUNCATE ON annotations "
        "FOR EACH STATEMENT EXECUTE FUNCTION annotations_only_added()"
    )


def downgrade() -> None:
    """A store is never taken back to an older version."""
    raise NotImplementedError
