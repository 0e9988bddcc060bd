"""How a file was read, so that it is read again when the program would read it differently.

`reading` is blank for files read before this step: they are read again when they are sent
again. The heads of columns that were not known are found in the rows that keep their values.
"""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"

ROW_TABLES = ("lines", "stays", "caregivers", "sign_offs", "home_log", "outcomes")


def upgrade() -> None:
    """Add the columns and fill in the heads."""
    connection = op.get_bind()
    for column in ("reading", "unknown_heads"):
        # Closed here: the driver holds what changes a table for a question with an answer to fetch.
        connection.exec_driver_sql(f"ALTER TABLE file_counts ADD COLUMN {column} TEXT").close()
    if connection.dialect.name == "sqlite":
        heads_of = "SELECT DISTINCT file, key FROM {table}, json_each(extra)"
    else:
        heads_of = "SELECT DISTINCT file, jsonb_object_keys(CAST(extra AS jsonb)) FROM {table}"
    of_file = sa.text(
        "UPDATE file_counts SET unknown_heads = :heads WHERE file = :file AND table_name = :table"
    )
    for table in ROW_TABLES:
        found = sa.text(heads_of.format(table=table) + " WHERE extra IS NOT NULL")
        heads: dict[int, list[str]] = {}
        for file, head in connection.execute(found).all():
            heads.setdefault(file, []).append(head)
        for file, names in heads.items():
            text = json.dumps(sorted(names), ensure_ascii=False)
            connection.execute(of_file, {"heads": text, "file": file, "table": table})
