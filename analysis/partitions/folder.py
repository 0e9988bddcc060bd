"""How do records lie in a folder, in parts with whole families, and how are they read again?

One folder a part with one Parquet file a table; `partitions.json` names the parts and counts their
rows. A part is read by the paths of its files: tools that split files by rows or bytes would split
families, and give wrong totals. Contacts, languages and notes are left out: no number needs them.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analysis.errors import UserError
from analysis.exports.catalogue import Table
from analysis.exports.folder import typed as as_arrow
from analysis.exports.records import NEEDED
from analysis.partitions.families import Placed, place
from analysis.policy import Policy, parse_policy, shipped_policy
from analysis.store.frames import typed
from analysis.tables.columns import Frame
from analysis.tables.kinds import Kind
from analysis.tables.records import KNOWN, Records
from analysis.unfinished import unfinished_in

MANIFEST = "partitions.json"
POLICY = "policy.toml"
LOG = "home_log"
HELD_ROWS = 1_000_000
"""Log rows in memory, over all parts, before they are written."""
_STORED = {
    Kind.DATE: (pa.date32(), pa.int32()),
    Kind.MONTH: (pa.date32(), pa.int32()),
    Kind.INSTANT: (pa.timestamp("us", tz="UTC"), pa.int64()),
    Kind.COUNT: (pa.int64(), pa.int64()),
    Kind.FLAG: (pa.bool_(), pa.int8()),
}
"""Type in a file and as stored; every other kind is text in both."""


class PartitionsError(UserError):
    """A folder of partitions can't be written or used: one sentence for a user."""


@dataclass(frozen=True)
class Partitions:
    """A folder of partitions that was opened."""

    parts: tuple[Path, ...]
    known_at: datetime
    policy: Policy
    n_left_out: int
    """Stored rows that were received after `known_at`."""
    n_assumed: int
    """Rows that count as received on the day they were done."""


def write_partitions(
    folder: Path,
    records: Records,
    log: Iterable[pa.Table],
    later: Sequence[int],
    known_at: datetime,
    policy_text: str | None,
    n_parts: int,
) -> Partitions:
    """Write records in parts with whole families to a new folder, all of it or nothing.

    Parameters
    ----------
    folder : Path
        Not there yet.
    records : Records
        Its log is not written.
    log : iterable of pyarrow.Table
        The rows of the log, block after block, with the columns of ``KNOWN["home_log"]`` as
        stored or as in an export.
    later : sequence of int
        Log rows of each block received after `known_at`; complete when `log` has been read.
    known_at : datetime
        Time at which these are the newest versions.
    policy_text : str or None
        The programme's policy file; None: the shipped policy.
    n_parts : int
        Parts, 1 or more.

    Raises
    ------
    PartitionsError
        The folder is there already, or it can't be written.
    """
    if folder.exists():
        raise PartitionsError(
            f"{folder} is there already and nothing is written over. Name a new folder in --write."
        )
    unfinished = unfinished_in(folder.absolute().parent)
    try:
        unfinished.mkdir(mode=0o700)
        placed = place(records, n_parts)
        rows = {
            name: _write(unfinished, name, [_outside(records, name)], placed, n_parts)
            for name in KNOWN
            if name != LOG
        }
        n_assumed = sum(int(records.is_assumed(table).sum()) for table in rows)
        counted = _Assumed(records.history.get(LOG, ()))
        rows[LOG] = _write(unfinished, LOG, map(counted.passed, log), placed, n_parts)
        about = {
            "known_at": known_at.isoformat(),
            "left_out": records.not_yet_known + sum(later),
            "assumed": n_assumed + counted.n,
            "parts": [
                {"folder": _name(at), "rows": {name: int(rows[name][at]) for name in KNOWN}}
                for at in range(n_parts)
            ],
        }
        if policy_text is not None:
            (unfinished / POLICY).write_text(policy_text, encoding="utf-8")
        (unfinished / MANIFEST).write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")
        unfinished.rename(folder)
    except OSError as fault:
        raise PartitionsError(
            f"The folder {folder} can't be written ({fault.strerror}). Check that the folder it "
            "is in is there, that this account may write in it and that the disk isn't full."
        ) from None
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    return opened(folder)


def opened(folder: Path) -> Partitions:
    """Open a folder of partitions.

    Raises
    ------
    PartitionsError
        It is not one.
    """
    try:
        about = json.loads((folder / MANIFEST).read_text("utf-8"))
        policy_file = folder / POLICY
        policy = (
            parse_policy(policy_file.read_text("utf-8"), str(policy_file))
            if policy_file.exists()
            else shipped_policy()
        )
        return Partitions(
            tuple(folder / part["folder"] for part in about["parts"]),
            datetime.fromisoformat(about["known_at"]),
            policy,
            about["left_out"],
            about["assumed"],
        )
    except (OSError, ValueError, KeyError, TypeError):
        raise PartitionsError(
            f"{folder} is not a folder of partitions. Make one with: linedays export partitions "
            "--write FOLDER."
        ) from None


def read_part(part: Path) -> Records:
    """Read the records of one part.

    Raises
    ------
    PartitionsError
        A file is missing or has other rows than were written.
    """
    try:
        about = json.loads((part.parent / MANIFEST).read_text("utf-8"))
        counts = next(p["rows"] for p in about["parts"] if p["folder"] == part.name)
        tables = {name: pq.ParquetFile(part / f"{name}.parquet").read() for name in KNOWN}
    except (OSError, pa.ArrowInvalid):
        raise PartitionsError(_DAMAGED.format(part=part)) from None
    if {name: table.num_rows for name, table in tables.items()} != counts:
        raise PartitionsError(_DAMAGED.format(part=part))
    frames = {
        name: typed(_stored(table, KNOWN[name]), KNOWN[name]) for name, table in tables.items()
    }
    return Records.of(frames)


_DAMAGED = (
    "{part} can't be read or has other rows than were written: families could be missing from "
    "every number. Write the partitions again with: linedays export partitions --write FOLDER."
)


class _Assumed:
    """Counts the rows that pass by and were loaded as history."""

    def __init__(self, spans: Sequence[tuple[int, int]]) -> None:
        self.spans = spans
        self.n = 0

    def passed(self, rows: pa.Table) -> pa.Table:
        """Count, and hand on."""
        row = rows["row"].to_numpy()
        self.n += sum(int(np.count_nonzero((row > a) & (row <= z))) for a, z in self.spans)
        return rows


def _outside(records: Records, name: str) -> pa.Table:
    return as_arrow(Table(_open(KNOWN[name]), getattr(records, name)))


def _open(entry: Frame) -> Frame:
    """The entry without its private columns."""
    return replace(entry, columns=tuple(c for c in entry.columns if not NEEDED.get(c.sensitivity)))


def _write(
    folder: Path, name: str, blocks: Iterable[pa.Table], placed: Placed, n_parts: int
) -> np.ndarray:
    """Write one table's file of each part; returns their rows: shape (parts,)."""
    schema = pa.schema(
        [(c.name, _STORED.get(c.kind, (pa.string(),))[0]) for c in _open(KNOWN[name]).columns]
    )
    paths = [folder / _name(at) / f"{name}.parquet" for at in range(n_parts)]
    for path in paths:
        path.parent.mkdir(mode=0o700, exist_ok=True)
    writers = [pq.ParquetWriter(path, schema, compression="zstd") for path in paths]
    n_rows = np.zeros(n_parts, dtype=np.int64)
    held: list[pa.Table] = []

    def write_held() -> None:
        # Before: rows of all parts in the order of their number; after: each part's, in that order.
        rows = pa.concat_tables(held)
        held.clear()
        part = placed.of(name, rows)
        rows = rows.take(pa.array(np.argsort(part, kind="stable")))
        counts = np.bincount(part, minlength=n_parts)
        for at, first in enumerate(np.cumsum(counts) - counts):
            if counts[at]:
                writers[at].write_table(rows.slice(first, counts[at]))
        n_rows[:] += counts

    try:
        for block in blocks:
            held.append(block.select(schema.names).cast(schema))
            if sum(rows.num_rows for rows in held) >= HELD_ROWS:
                write_held()
        if held:
            write_held()
    finally:
        for writer in writers:
            writer.close()
    return n_rows


def _stored(table: pa.Table, entry: Frame) -> pa.Table:
    """Columns of a file as the store has them; private ones are blank."""
    columns: Mapping[str, Any] = {
        c.name: (
            table[c.name].cast(_STORED.get(c.kind, (None, pa.string()))[1])
            if c.name in table.column_names
            else pa.chunked_array([pa.nulls(table.num_rows, pa.string())])
        )
        for c in entry.columns
    }
    return pa.table(columns)


def _name(at: int) -> str:
    return f"part-{at:05}"
