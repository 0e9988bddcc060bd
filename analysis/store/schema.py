"""How do the tables lie in the database?

The row tables are derived from the catalogue of incoming tables, so a column is defined
once. Rows are only ever added: a correction is a later row of the same key. Each row table
has its `_keys`: which row of a key was stored first (`key_row`). A row that is its
key's first has ``row = key_row``; the later ones are few and have an index of their own.

Tables are made by the migrations, on PostgreSQL with the same conditions of the indexes: stated here
they would load its dialect for every store.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import sqlite

from analysis.tables.columns import Column, Frame
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind
from analysis.tables.records import KNOWN
from analysis.vocabulary import EntryKind

REVISION = max(
    path.name[:4] for path in (Path(__file__).parent / "migrations/versions").glob("[0-9]*.py")
)
"""Revision of the schema below: the newest file in `migrations/versions`."""

PAGE = "recorded on the page"
"""Name of the ingest of a call that was recorded on the page."""

metadata = sa.MetaData()

WHOLE = sa.BigInteger().with_variant(sqlite.INTEGER(), "sqlite")
TEXT = sa.Text()
BYTES = sa.LargeBinary()

_TYPES: dict[Kind, sa.types.TypeEngine[Any]] = {
    Kind.TEXT: TEXT,
    Kind.CODE: TEXT,
    Kind.CODES: TEXT,
    Kind.DATE: WHOLE,
    Kind.MONTH: WHOLE,
    Kind.INSTANT: WHOLE,
    Kind.COUNT: WHOLE,
    Kind.FLAG: WHOLE,
}
"""Dates and months are days since 1970-01-01, instants microseconds UTC, flags 0 or 1."""


def stored_columns(name: str) -> tuple[Column, ...]:
    """Columns of an incoming table as they are stored: what is known but its provenance."""
    return tuple(c for c in KNOWN[name].columns if c.name not in {"row", "received_at"})


def _row_table(entry: Frame) -> tuple[sa.Table, sa.Table]:
    # Nothing but provenance is NOT NULL: a row that withdraws its key may hold the key alone.
    rows = sa.Table(
        entry.name,
        metadata,
        sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
        sa.Column("key_row", WHOLE, nullable=False),
        sa.Column("received_at", WHOLE, nullable=False),
        sa.Column("void", WHOLE, nullable=False),
        sa.Column("content", BYTES, nullable=False),
        *(sa.Column(c.name, _TYPES[c.kind]) for c in stored_columns(entry.name)),
        sa.Column("file", WHOLE, nullable=False),
        sa.Column("sheet", TEXT),
        sa.Column("row_number", WHOLE, nullable=False),
        sa.Column("extra", TEXT),
        sa.Column("doubts", TEXT),
        sqlite_strict=True,
    )
    later = rows.c.row != rows.c.key_row
    sa.Index(f"{entry.name}_later", rows.c.key_row, sqlite_where=later)
    keys = sa.Table(
        f"{entry.name}_keys",
        metadata,
        sa.Column("key", BYTES, primary_key=True, autoincrement=False),
        sa.Column("key_row", WHOLE, nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    return rows, keys


_BOTH = {name: _row_table(entry) for name, entry in INCOMING.items()}
ROWS: dict[str, sa.Table] = {name: rows for name, (rows, _) in _BOTH.items()}
KEYS: dict[str, sa.Table] = {name: keys for name, (_, keys) in _BOTH.items()}


def is_connector_change(log: sa.Table) -> sa.ColumnElement[bool]:
    """Of a home-log row. Spelt out and not a parameter, so that its index is known to serve."""
    return log.c.kind == sa.literal_column(f"'{EntryKind.CONNECTOR_CHANGE}'")


def is_unnumbered(log: sa.Table) -> sa.ColumnElement[bool]:
    """Of a home-log row: the sender gave it no number of its own."""
    return log.c.entry_id.is_(None)


blocks = sa.Table(
    "blocks",
    metadata,
    sa.Column("table_name", TEXT, primary_key=True),
    sa.Column("first_row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("n_rows", WHOLE, nullable=False),
    sa.Column("packed", BYTES, nullable=False),
    sqlite_strict=True,
)
"""One row a run of rows of a table, repeated column by column; see `analysis.store.blocks`."""

_log = ROWS["home_log"]
sa.Index(
    "home_log_connectors",
    _log.c.done_on,
    _log.c.line_id,
    sqlite_where=is_connector_change(_log),
)
"""A connector changed too soon is found by the days of the earlier changes."""
sa.Index(
    "home_log_unnumbered",
    _log.c.line_id,
    _log.c.done_on,
    sqlite_where=is_unnumbered(_log),
)
"""An entry that looks like the correction of another is found by line and day."""
sa.Index("home_log_doubted", _log.c.row, sqlite_where=_log.c.doubts.is_not(None))
"""Few entries are doubtful: they are found without reading all."""

files = sa.Table(
    "files",
    metadata,
    sa.Column("file", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("name", TEXT, nullable=False),
    sa.Column("sha256", TEXT, nullable=False, index=True),
    sa.Column("size", WHOLE, nullable=False),
    sa.Column("source", TEXT, nullable=False),
    sa.Column("received_at", WHOLE, nullable=False),
    sa.Column("ingested_at", WHOLE, nullable=False),
    sa.Column("brought_by", TEXT),
    sa.Column("history", WHOLE),
    sqlite_strict=True,
)
"""One row an ingest of a file; `history` is 1 where the receipts of its rows are assumed;
`brought_by` is blank for the command line."""

file_counts = sa.Table(
    "file_counts",
    metadata,
    sa.Column("file", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("table_name", TEXT, primary_key=True),
    sa.Column("read", WHOLE, nullable=False),
    sa.Column("stored", WHOLE, nullable=False),
    sa.Column("same_as_before", WHOLE, nullable=False),
    sa.Column("refused", WHOLE, nullable=False),
    sa.Column("doubts", WHOLE, nullable=False),
    sa.Column("last_row", WHOLE, nullable=False),
    sa.Column("reading", TEXT),
    sa.Column("unknown_heads", TEXT),
    sa.Column("originals", WHOLE),
    sqlite_strict=True,
)
"""One row an ingest of a file and a table in it; `last_row`: the table's last row by then;
`reading`: how its cells were read, blank if not recorded; `unknown_heads`: a JSON list of the heads
of columns that were not known, whose cells are in `extra`; `originals` is 1 where cells that were
read as something else than is written in them are in that table."""

refused = sa.Table(
    "refused",
    metadata,
    sa.Column("refused_row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("file", WHOLE, nullable=False),
    sa.Column("table_name", TEXT, nullable=False),
    sa.Column("sheet", TEXT),
    sa.Column("row_number", WHOLE, nullable=False),
    sa.Column("received_at", WHOLE, nullable=False),
    sa.Column("column_name", TEXT),
    sa.Column("value", TEXT),
    sa.Column("reason", TEXT, nullable=False),
    sa.Column("key", BYTES),
    sa.Column("mends", WHOLE),
    sa.Column("whole_row", TEXT, nullable=False),
    sa.Column("raw_hash", BYTES, nullable=False),
    sa.Column("further", TEXT),
    sqlite_strict=True,
)
"""One row a row that could not be used; `whole_row` is a JSON object of its cells, `further` a JSON
list of what else is wrong with it (column, value, reason)."""

refused_resolved = sa.Table(
    "refused_resolved",
    metadata,
    sa.Column("refused_row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("file", WHOLE, nullable=False),
    sa.Column("how", TEXT, nullable=False),
    sqlite_strict=True,
)
"""One row a refused row that left the list; `file` is the ingest that corrected it."""

arrangements = sa.Table(
    "arrangements",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("family_id", TEXT, nullable=False),
    sa.Column("made_by", TEXT, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sa.Column("made_on", WHOLE),
    sa.Column("kind", TEXT),
    sa.Column("assigned_to", TEXT),
    sa.Column("until_on", WHOLE),
    sa.Column("why", TEXT),
    sa.Column("takes_back", WHOLE),
    sa.Column("form", TEXT),
    sqlite_strict=True,
)
"""One row what somebody arranged about a family, or that it was undone (`takes_back` is that
row); triggers of the migration keep rows as they are."""

sa.Index("arrangements_form", arrangements.c.made_by, arrangements.c.form, unique=True)

rate_notes = sa.Table(
    "annotations",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("on_day", WHOLE),
    sa.Column("site", TEXT),
    sa.Column("text", TEXT),
    sa.Column("made_by", TEXT, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sa.Column("withdraws", WHOLE),
    sqlite_strict=True,
)
"""One row an annotation of the rates, or the withdrawal of one (`withdraws` is that one's row);
triggers of the migration keep rows as they are."""

signal_acts = sa.Table(
    "signal_acts",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("event", TEXT, nullable=False),
    sa.Column("site", TEXT, nullable=False),
    sa.Column("state", TEXT, nullable=False),
    sa.Column("owner", TEXT),
    sa.Column("note", TEXT),
    sa.Column("strength_thousandths", WHOLE, nullable=False),
    sa.Column("made_by", TEXT, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sqlite_strict=True,
)
"""One row a step of the work on a signal, with its state and owner from then on; triggers of the
migration keep rows as they are."""

training_sessions = sa.Table(
    "training_sessions",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("session", WHOLE, nullable=False),
    sa.Column("state", TEXT),
    sa.Column("held_on", WHOLE),
    sa.Column("starts_at", TEXT),
    sa.Column("venue", TEXT),
    sa.Column("language", TEXT),
    sa.Column("skills", TEXT),
    sa.Column("held_by", TEXT),
    sa.Column("family_ids", TEXT),
    sa.Column("caregiver_ids", TEXT),
    sa.Column("made_by", TEXT, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sa.Column("takes_back", WHOLE),
    sa.Column("form", TEXT),
    sqlite_strict=True,
)
"""One row a training session as planned or changed, or that a row was undone (`takes_back` is that
row); triggers of the migration keep rows as they are."""

sa.Index(
    "training_sessions_form", training_sessions.c.made_by, training_sessions.c.form, unique=True
)

users = sa.Table(
    "users",
    metadata,
    sa.Column("code", TEXT, primary_key=True),
    sa.Column("password_hash", TEXT, nullable=False),
    sa.Column("role", TEXT, nullable=False),
    sa.Column("sites", TEXT),
    sa.Column("families", WHOLE, nullable=False),
    sa.Column("active", WHOLE, nullable=False),
    sa.Column("added_at", WHOLE, nullable=False),
    sa.Column("ended_at", WHOLE),
    sa.Column("caseload", TEXT),
    sa.Column("subject", TEXT),
    sqlite_strict=True,
)
"""One row a person who may sign in; `sites` is a JSON list, blank: all of them; `subject` is who a
person is at the hospital's sign-in, blank: a local account."""

sign_ins = sa.Table(
    "sign_ins",
    metadata,
    sa.Column("token_hash", BYTES, primary_key=True, autoincrement=False),
    sa.Column("code", TEXT, nullable=False, index=True),
    sa.Column("created_at", WHOLE, nullable=False),
    sa.Column("last_used_at", WHOLE, nullable=False),
    sa.Column("ended_at", WHOLE),
    sa.Column("server", TEXT),
    sa.Column("address", TEXT),
    sqlite_strict=True,
)
"""One row a sign-in that may still hold; its token itself is with the browser alone. Of an SQLite
store, it and the next table are in a file of their own (`analysis.store.sign_in_file`)."""

attempts = sa.Table(
    "attempts",
    metadata,
    sa.Column("attempt", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("at", WHOLE, nullable=False, index=True),
    sa.Column("who", BYTES, nullable=False, index=True),
    sa.Column("address", TEXT, nullable=False, index=True),
    sa.Column("succeeded", WHOLE, nullable=False),
    sa.Column("tries", WHOLE),
    sa.Column("step", WHOLE),
    sqlite_strict=True,
)
"""One row an attempt to sign in of the last day; `who` is a hash of the code typed in, `tries` counts
those after it that had to wait as well (blank: 1), `step` is the 30 seconds whose code it used up."""

second_factors = sa.Table(
    "second_factors",
    metadata,
    sa.Column("code", TEXT, primary_key=True),
    sa.Column("secret", TEXT, nullable=False),
    sa.Column("confirmed_at", WHOLE),
    sa.Column("recovery", TEXT, nullable=False),
    sqlite_strict=True,
)
"""One row a user with a second factor; `confirmed_at` blank: not shown to work yet. `recovery` is a
JSON list of hashes."""

accesses = sa.Table(
    "accesses",
    metadata,
    sa.Column("access", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("at", WHOLE, nullable=False),
    sa.Column("who", TEXT),
    sa.Column("what", TEXT, nullable=False),
    sa.Column("family_id", TEXT),
    sa.Column("about", TEXT),
    sa.Column("note_id", BYTES),
    sqlite_strict=True,
)
"""One row an act that the access record keeps; triggers of the migration keep rows as they are.
`note_id` is random; acts of earlier versions have none."""

sa.Index("accesses_who", accesses.c.who, accesses.c.what, accesses.c.at)
sa.Index("accesses_family", accesses.c.family_id, accesses.c.what, accesses.c.at)
sa.Index("accesses_note_id", accesses.c.note_id, unique=True)

policies = sa.Table(
    "policies",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("text", TEXT, nullable=False),
    sa.Column("policy_file", TEXT, nullable=False),
    sa.Column("sha256", TEXT, nullable=False),
    sa.Column("time_zone", TEXT, nullable=False),
    sa.Column("made_by", TEXT, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sqlite_strict=True,
)
"""One row a policy that was set; the newest counts."""

source_profiles = sa.Table(
    "source_profiles",
    metadata,
    sa.Column("row", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("name", TEXT, nullable=False),
    sa.Column("text", TEXT, nullable=False),
    sa.Column("made_by", TEXT, nullable=False),
    sa.Column("made_at", WHOLE, nullable=False),
    sqlite_strict=True,
)
"""One row a version of a source profile, as TOML text; the newest of a name counts."""

changes = sa.Table(
    "changes",
    metadata,
    sa.Column("single", WHOLE, primary_key=True, autoincrement=False),
    sa.Column("number", WHOLE, nullable=False),
    sqlite_strict=True,
)
"""One row in all: how many transactions have written to the store."""
