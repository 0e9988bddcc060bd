"""Which rows of a batch can be stored, which are refused, and why?

Pure: rows in, rows out. The store is not read; what needs earlier rows is in `history`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest import identity
from analysis.ingest.backfill import assumed_receipts, count_old, days_done
from analysis.ingest.cells import (
    Reading,
    Timed,
    read_codes,
    read_counts,
    read_dates,
    read_flag,
    read_instants,
    read_received,
    read_words,
)
from analysis.ingest.checked import Checked, Ints, Mask, Source, day_of
from analysis.ingest.faults import IngestError
from analysis.ingest.faulty import REASONS, Doubts, Faults
from analysis.ingest.heads import REFUSED_ROW
from analysis.ingest.known_lines import KnownLines
from analysis.ingest.limits import DAYS_AHEAD, RECEIPT_AHEAD_MICROSECONDS
from analysis.ingest.moments import NONE
from analysis.ingest.raw import Raw
from analysis.ingest.reasons import Doubt, FileFault, Refusal
from analysis.ingest.rules import CHECKS, Batch
from analysis.ingest.translate import Rows, translate
from analysis.ingest.zones import local_days
from analysis.tables.columns import Column
from analysis.tables.fields import field_of
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind

_REFUSED_ROW = Column.of(field_of(REFUSED_ROW))


def check(raw: Raw, source: Source, known: KnownLines) -> Checked:
    """Read and check a batch.

    Parameters
    ----------
    raw : Raw
        Rows as written.
    source : Source
        What they are and how they are read.
    known : KnownLines
        The registry, for the tables that name its lines, children or families.

    Returns
    -------
    Checked
        Every row of the batch in its stored form, with its first fault and its doubts.

    Raises
    ------
    IngestError
        A moment's day depends on the programme's time zone, which is not set.
    """
    table = source.part.table
    entry = INCOMING[table]
    n = len(raw.row_numbers)
    faults, doubts = Faults(n), Doubts(n)
    rows = translate(raw, source.part, source.profile.table(table), faults)
    blank = pa.nulls(n, pa.string())
    void = (
        read_flag(rows.cells["void"], "void", source.reading, faults)
        if "void" in rows.cells
        else np.zeros(n, bool)
    )
    mends = read_counts(rows.cells.get(REFUSED_ROW, blank), _REFUSED_ROW, faults)
    withdrawals = void & (mends != NONE)
    needed = [c for c in entry.key if not (table == "home_log" and c != "entry_id")]
    has_key = np.ones(n, np.bool_)
    for name in needed:
        has_key &= np.asarray(rows.cells.get(name, blank).is_valid())
    faults.excuse(void & has_key | withdrawals, [*needed, "received_at"])
    received = _received(rows, source, faults)
    values, timed = _read_columns(rows, entry.columns, source.reading, faults, doubts)
    if timed is not None and not source.zone_is_set and timed.elsewhere.any():
        raise IngestError(
            FileFault.ZONE_NOT_SET,
            source.part.file,
            row=int(raw.row_numbers[np.argmax(timed.elsewhere)]),
            column=next(c.name for c in entry.columns if c.kind is Kind.INSTANT),
        )
    _mark_future(values, received, entry.columns, source.reading, faults)
    days = days_done(table, values, known)
    n_old = 0 if source.history else count_old(days, received, source.reading.programme_zone)
    if source.history:
        assumed = assumed_receipts(days, received, source.reading.programme_zone)
        own = rows.cells.get("received_at", blank)
        received = np.where(np.asarray(own.is_valid()), received, assumed)
    as_given = dict(values)
    CHECKS[table](Batch(values, void, faults, doubts), known)
    faults.reason[withdrawals] = -1
    extra = identity.extra_json(rows.extra, n)
    key, content = _hashes(table, {**as_given, "extra": extra}, void, faults)
    accepted = pa.table(
        {
            "sheet": pa.array([source.part.sheet] * n, pa.string()),
            "row_number": pa.array(rows.row_numbers),
            "received_at": pa.array(received),
            "void": pa.array(void),
            "key": key,
            "content": content,
            "extra": extra,
            "mends": pa.array(mends, mask=mends == NONE),
            **_stored_columns(values, entry.columns),
        }
    )
    return Checked(source, raw, rows, accepted, faults, doubts, withdrawals, timed, n_old)


def _received(rows: Rows, source: Source, faults: Faults) -> Ints:
    """Moments of receipt, microseconds UTC; none later than the moment of ingest."""
    cells = rows.cells.get("received_at")
    latest = source.ingested_at
    received = read_received(cells, source.received_at, latest, source.reading, faults)
    ahead = received > latest + RECEIPT_AHEAD_MICROSECONDS
    faults.mark(ahead, "received_at", Refusal.RECEIPT_AHEAD)
    return np.where(ahead, latest, received)


def _read_columns(
    rows: Rows, columns: Sequence[Column], reading: Reading, faults: Faults, doubts: Doubts
) -> tuple[dict[str, pa.Array | Ints], Timed | None]:
    """Values by column; an instant gives its day and its moment."""
    n = len(rows)
    values: dict[str, pa.Array | Ints] = {}
    timed: Timed | None = None
    for column in columns:
        cells = rows.cells.get(column.name)
        if cells is None:
            cells = pa.nulls(n, pa.string())
        if column.required and cells.null_count:
            faults.mark(np.asarray(cells.is_null()), column.name, Refusal.MISSING_VALUE)
        match column.kind:
            case Kind.TEXT:
                values[column.name] = read_words(cells, column, reading)
            case Kind.CODE | Kind.CODES:
                values[column.name] = read_codes(cells, column, reading, faults)
            case Kind.COUNT:
                values[column.name] = read_counts(cells, column, faults, reading.decimal_mark)
            case Kind.DATE | Kind.MONTH:
                values[column.name] = read_dates(cells, column, reading, faults)
            case _:
                timed = read_instants(cells, column.name, reading, faults)
                values[day_of(column.name)], values[column.name] = timed.day, timed.utc
                doubts.mark(timed.twice, Doubt.TIME_TWICE)
    return values, timed


def _mark_future(
    values: Mapping[str, pa.Array | Ints],
    received: Ints,
    columns: Sequence[Column],
    reading: Reading,
    faults: Faults,
) -> None:
    """Mark dates later than the row's receipt by more than a day, or than a plan may be."""
    today = local_days(received, reading.programme_zone)
    for column in columns:
        if column.kind in {Kind.DATE, Kind.MONTH, Kind.INSTANT}:
            is_instant = column.kind is Kind.INSTANT
            days = values[day_of(column.name) if is_instant else column.name]
            ahead = days > today + DAYS_AHEAD.get(column.name, 1)
            reason = Refusal.TOO_FAR_AHEAD if column.name in DAYS_AHEAD else Refusal.IN_THE_FUTURE
            faults.mark(ahead, column.name, reason)


def _hashes(
    table: str, values: Mapping[str, pa.Array | Ints], void: Mask, faults: Faults
) -> tuple[pa.Array, pa.Array]:
    """Key and content of each row (see `identity`); the key is null where it is not known."""
    entry = INCOMING[table]
    given = dict(values)
    if table == "home_log":
        lines: Any = given["line_id"]
        given["family_id"] = pc.if_else(
            lines.is_valid(), pa.scalar(None, pa.string()), given["family_id"]
        )
    for column in entry.columns:
        if column.kind is Kind.INSTANT:
            day, moment = given[day_of(column.name)], given[column.name]
            given[day_of(column.name)] = np.where(moment == NONE, day, NONE)
    texts = identity.text_of_rows(
        {name: identity.canonical(column) for name, column in given.items()}
    )
    hashes = identity.digests(texts)
    content = identity.hash_array(identity.with_void(texts, hashes, void))
    if table == "home_log":
        return _entry_keys(values["entry_id"], hashes, faults), content
    return identity.registry_keys([identity.canonical(values[name]) for name in entry.key]), content


def _entry_keys(entry_id: pa.Array, hashes: list[bytes], faults: Faults) -> pa.Array:
    """Key of an entry; null where the entry has no number and could not be read whole."""
    whole = np.isin(faults.reason, _READABLE) | np.asarray(entry_id.is_valid())
    return identity.only_where(identity.entry_keys(entry_id, hashes), whole)


_READABLE = (
    -1,
    *(
        REASONS.index(reason)
        for reason in (
            Refusal.UNKNOWN_LINE,
            Refusal.UNKNOWN_FAMILY,
            Refusal.NO_LINE_THAT_DAY,
            Refusal.SEVERAL_LINES_THAT_DAY,
            Refusal.LINE_OF_OTHER_FAMILY,
            Refusal.BEFORE_PLACED,
            Refusal.IN_THE_FUTURE,
        )
    ),
)
"""Faults of rows whose every cell could be read: they are marked after all others."""


def _stored_columns(
    values: Mapping[str, pa.Array | Ints], columns: Sequence[Column]
) -> dict[str, pa.Array]:
    """Columns in the types in which they are stored."""
    kinds = {c.name: c.kind for c in columns}
    kinds |= {day_of(c.name): Kind.DATE for c in columns if c.kind is Kind.INSTANT}
    stored: dict[str, pa.Array] = {}
    for name, value in values.items():
        if not isinstance(value, np.ndarray):
            stored[name] = value
        elif kinds[name] in {Kind.DATE, Kind.MONTH}:
            blank = value == NONE
            stored[name] = pa.array(np.where(blank, 0, value).astype(np.int32), mask=blank)
        else:
            stored[name] = pa.array(value, mask=value == NONE)
    return stored
