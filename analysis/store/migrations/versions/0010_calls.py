"""Calls become rows like those of files, with a moment, an outcome, a note and versions.

A call recorded before is the row of the same number. Its undoing was a row of its own and becomes
a version that withdraws the call.
"""

from __future__ import annotations

from hashlib import blake2b, sha256

import sqlalchemy as sa
from alembic import op

from analysis.store.migrations.steps import WHOLE

revision = "0010"
down_revision = "0009"

PAGE = "recorded on the page"


def upgrade() -> None:
    """Make the new tables, and fill them with the recorded calls."""
    connection = op.get_bind()
    connection.exec_driver_sql("DROP INDEX calls_form").close()
    connection.exec_driver_sql("ALTER TABLE calls RENAME TO calls_before").close()
    _make_tables()
    calls = connection.execute(sa.text("SELECT * FROM calls_before ORDER BY row")).mappings().all()
    if calls:
        _fill(connection, [dict(call) for call in calls])
    connection.exec_driver_sql("DROP TABLE calls_before").close()


def _make_tables() -> None:
    def whole(*names: str, nullable: bool = True) -> list[sa.Column[int]]:
        return [sa.Column(name, WHOLE, nullable=nullable) for name in names]

    def text(*names: str) -> list[sa.Column[str]]:
        return [sa.Column(name, sa.Text()) for name in names]

    op.create_table(
        "calls",
        *whole("row", "key_row", "received_at", "void", nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        *text("family_id"),
        *whole("called_on", "called_at"),
        *text("called_by", "outcome", "agreed"),
        *whole("recheck_on"),
        *text("note"),
        *whole("file", nullable=False),
        *text("sheet"),
        *whole("row_number", nullable=False),
        *text("extra", "doubts"),
        sa.PrimaryKeyConstraint("row"),
        sqlite_strict=True,
    )
    later = sa.text("row <> key_row")
    op.create_index("calls_later", "calls", ["key_row"], sqlite_where=later, postgresql_where=later)
    op.create_table(
        "calls_keys",
        sa.Column("key", sa.LargeBinary(), nullable=False),
        sa.Column("key_row", WHOLE, nullable=False),
        sa.PrimaryKeyConstraint("key"),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )


def _fill(connection: sa.Connection, calls: list[dict[str, object]]) -> None:
    """Each call was recorded once: its ingest is that of its person and form."""
    metadata = sa.MetaData()
    made, keys, files = (
        sa.Table(name, metadata, autoload_with=connection)
        for name in ("calls", "calls_keys", "files")
    )
    file = int(connection.execute(sa.select(sa.func.max(files.c.file))).scalar() or 0)
    by_row = {call["row"]: call for call in calls}
    first: dict[bytes, object] = {}
    for call in calls:
        file += 1
        undone = call["takes_back"]
        meant = call if undone is None else by_row[undone]
        cells = {
            "family_id": meant["family_id"],
            "called_at": meant["made_at"],
            "called_by": meant["made_by"],
            "outcome": "reached" if meant["reached"] else "no_answer",
            "agreed": meant["agreed"],
            "recheck_on": meant["recheck_on"],
        }
        filled = {name: str(cell) for name, cell in cells.items() if cell is not None}
        key = _hash("\x1f".join(filled[name] for name in ("family_id", "called_at", "called_by")))
        content = "\x1f".join(f"{name}\x1d{filled[name]}" for name in sorted(filled))
        if key not in first:
            first[key] = call["row"]
            connection.execute(sa.insert(keys).values(key=key, key_row=call["row"]))
        connection.execute(
            sa.insert(made).values(
                **cells,
                row=call["row"],
                key_row=first[key],
                received_at=call["made_at"],
                void=0 if undone is None else 1,
                content=_hash(content if undone is None else content + "\x1fvoid"),
                called_on=meant["made_on"],
                file=file,
                row_number=1,
            )
        )
        what = call["form"] or f"before {call['row']}"
        connection.execute(
            sa.insert(files).values(
                file=file,
                name=PAGE,
                sha256=sha256(f"{call['made_by']}\x1f{what}".encode()).hexdigest(),
                size=0,
                source="",
                received_at=call["made_at"],
                ingested_at=call["made_at"],
                brought_by=call["made_by"],
            )
        )


def _hash(text: str) -> bytes:
    return blake2b(text.encode(), digest_size=16).digest()
