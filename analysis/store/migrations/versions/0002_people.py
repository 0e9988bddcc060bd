"""Users, their sign-ins and attempts, and the access record, whose rows nobody can change."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE, rows_only_added

revision = "0002"
down_revision = "0001"

TYPES: dict[str, sa.types.TypeEngine[Any]] = {
    "whole": WHOLE,
    "text": sa.Text(),
    "bytes": sa.LargeBinary(),
}
TABLES = {
    "users": (
        (
            "code text!, password_hash text!, role text!, sites text, families whole!,"
            " active whole!, added_at whole!, ended_at whole"
        ),
        "code",
    ),
    "sign_ins": (
        "token_hash bytes!, code text!, created_at whole!, last_used_at whole!, ended_at whole",
        "token_hash",
    ),
    "attempts": (
        "attempt whole!, at whole!, who bytes!, address text!, succeeded whole!",
        "attempt",
    ),
    "accesses": (
        "access whole!, at whole!, who text, what text!, family_id text, about text",
        "access",
    ),
}
"""Columns and key of each table; an exclamation mark: never blank."""

INDEXES = (
    ("ix_sign_ins_code", "sign_ins", "code"),
    ("ix_attempts_at", "attempts", "at"),
    ("ix_attempts_who", "attempts", "who"),
    ("ix_attempts_address", "attempts", "address"),
    ("accesses_who", "accesses", "who what at"),
)
ONLY_ADDED = "rows of the access record are only ever added"


def upgrade() -> None:
    """Make the tables."""
    for name, (described, key) in TABLES.items():
        columns = []
        for one in described.split(","):
            column, kind = one.split()
            blank = not kind.endswith("!")
            columns.append(sa.Column(column, TYPES[kind.rstrip("!")], nullable=blank))
        op.create_table(name, *columns, sa.PrimaryKeyConstraint(key), sqlite_strict=True)
    for name, table, keys in INDEXES:
        op.create_index(name, table, keys.split())
    rows_only_added("accesses", ONLY_ADDED)
