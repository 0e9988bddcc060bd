"""The first tables: files, rows of each incoming table and their keys, refused rows, calls."""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import sqlite

revision = "0001"
down_revision = None

WHOLE = sa.BigInteger().with_variant(sqlite.INTEGER(), "sqlite")
TYPES: dict[str, sa.types.TypeEngine[Any]] = {
    "whole": WHOLE,
    "text": sa.Text(),
    "bytes": sa.LargeBinary(),
}

ROW_TABLES = {
    "lines": "line_id text, child_id text, family_id text, site text, nurse text, line_type text,"
    " lumens whole, placed_on whole, home_from whole, removed_on whole, removal_reason text,"
    " left_on whole, dressing_type text, change_every_days whole, dressing_on whole,"
    " flush_every_days whole, born whole, therapy text, kit_delivery_days whole, language text,"
    " contact text",
    "stays": "child_id text, from_on whole, to_on whole, place text, dressing_on whole",
    "caregivers": "caregiver_id text, family_id text, relation text",
    "sign_offs": "caregiver_id text, skill text, signed_on whole, outcome text, kind text",
    "home_log": "entry_id text, line_id text, family_id text, caregiver_id text, done_on whole,"
    " done_at whole, kind text, change_reason text, dressing_type text, dressing_condition text,"
    " findings text, steps_missed text, kits_left whole, note text",
    "outcomes": "child_id text, line_id text, outcome text, onset_on whole, confirmed_on whole",
}
BEFORE = "row whole!, key_row whole!, received_at whole!, void whole!, content bytes!"
AFTER = "file whole!, sheet text, row_number whole!, extra text, doubts text"
"""Are before and after those of each row table; an exclamation mark: never blank."""


def _columns(described: str) -> list[sa.Column[Any]]:
    columns: list[sa.Column[Any]] = []
    for one in described.split(","):
        name, kind = one.split()
        columns.append(sa.Column(name, TYPES[kind.rstrip("!")], nullable=not kind.endswith("!")))
    return columns


def _table(name: str, described: str, key: str, *, with_rowid: bool = True) -> None:
    op.create_table(
        name,
        *_columns(described),
        sa.PrimaryKeyConstraint(*key.split()),
        sqlite_strict=True,
        sqlite_with_rowid=with_rowid,
    )


def upgrade() -> None:
    """Make the tables."""
    for name, described in ROW_TABLES.items():
        _table(name, f"{BEFORE}, {described}, {AFTER}", "row")
        later = sa.text("row <> key_row")
        op.create_index(
            f"{name}_later", name, ["key_row"], sqlite_where=later, postgresql_where=later
        )
        _table(f"{name}_keys", "key bytes!, key_row whole!", "key", with_rowid=False)
    connectors = sa.text("kind = 'connector_change'")
    op.create_index(
        "home_log_connectors",
        "home_log",
        ["done_on", "line_id"],
        sqlite_where=connectors,
        postgresql_where=connectors,
    )
    _table(
        "blocks",
        "table_name text!, first_row whole!, n_rows whole!, packed bytes!",
        "table_name first_row",
    )
    _table(
        "files",
        "file whole!, name text!, sha256 text!, size whole!, source text!, received_at whole!,"
        " ingested_at whole!",
        "file",
    )
    op.create_index("ix_files_sha256", "files", ["sha256"])
    _table(
        "file_counts",
        "file whole!, table_name text!, read whole!, stored whole!, same_as_before whole!,"
        " refused whole!, doubts whole!, last_row whole!",
        "file table_name",
    )
    _table(
        "refused",
        "refused_row whole!, file whole!, table_name text!, sheet text, row_number whole!,"
        " received_at whole!, column_name text, value text, reason text!, key bytes, mends whole,"
        " whole_row text!, raw_hash bytes!",
        "refused_row",
    )
    _table("refused_resolved", "refused_row whole!, file whole!, how text!", "refused_row")
    _table(
        "calls",
        "row whole!, family_id text!, made_by text!, made_at whole!, made_on whole, reached whole,"
        " agreed text, recheck_on whole, takes_back whole",
        "row",
    )
    _table("changes", "single whole!, number whole!", "single")
    op.execute("INSERT INTO changes (single, number) VALUES (1, 0)")
