"""How is a Parquet file read, whose columns may already have types?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from analysis.ingest.faults import IngestError
from analysis.ingest.heads import (
    match_heads,
    table_of_header,
    table_of_profile_heads,
    table_of_sheet,
)
from analysis.ingest.limits import BATCH_ROWS, UNPACKED_BYTES, UNPACKED_RATIO
from analysis.ingest.profile import Profile
from analysis.ingest.raw import LogFile, Part, Raw, raw_rows
from analysis.ingest.reasons import FileFault

_SMALL = 20_000_000
"""Unpacked size up to which the ratio does not matter."""


def parquet_part(log: LogFile, profile: Profile, table: str | None) -> Part:
    """Open a Parquet file.

    Parameters
    ----------
    log : LogFile
        The file.
    profile : Profile
        Its heads count; rows above the head do not exist here.
    table : str or None
        Its table; None: found from the name or the column names.

    Returns
    -------
    Part
        The file's rows in batches, all cells as text; row numbers count from 1.

    Raises
    ------
    IngestError
        The file is damaged or unpacks to too much, the table is unknown, columns are
        missing or of a kind that is no single value a row.
    """
    file = log.name
    try:
        with pq.ParquetFile(log.path) as opened:
            schema = opened.schema_arrow
            groups = opened.metadata
            unpacked = sum(
                groups.row_group(at).total_byte_size for at in range(groups.num_row_groups)
            )
    except (pa.ArrowException, OSError) as fault:
        if isinstance(fault, PermissionError):
            raise
        raise _broken(file, fault) from None
    ratio = unpacked / max(log.path.stat().st_size, 1)
    if unpacked > 10 * UNPACKED_BYTES or (unpacked > _SMALL and ratio > UNPACKED_RATIO):
        raise IngestError(
            FileFault.UNPACKS_TOO_LARGE,
            file,
            size=f"{unpacked / 1e6:,.0f} MB",
            ratio=f"{ratio:,.0f}",
        )
    names = [name.strip() for name in schema.names]
    if table is None:
        table = table_of_header(lambda _: names, profile)
        table = table or table_of_sheet([log.stem], names, profile, file)
        table = table or table_of_profile_heads(lambda _: names, profile)
    if table is None:
        raise IngestError(FileFault.TABLE_UNKNOWN, file)
    heads = match_heads(names, table, profile, file)
    for column in schema:
        if not _has_text(column.type):
            raise IngestError(
                FileFault.COLUMN_TYPE, file, column=column.name, kind=str(column.type)
            )
    return Part(file, None, table, heads, lambda: _batches(log))


def first_rows(log: LogFile, most_rows: int) -> list[list[str]]:
    """The heads and the first rows as text, for looking at a file before it is read."""
    try:
        with pq.ParquetFile(log.path) as opened:
            names = [name.strip() for name in opened.schema_arrow.names]
            batch = next(opened.iter_batches(batch_size=most_rows), None)
    except (pa.ArrowException, OSError) as fault:
        raise _broken(log.name, fault) from None
    if batch is None:
        return [names]
    texts = [
        _text(column) if _has_text(column.type) else pa.nulls(len(column), pa.string())
        for column in batch.columns
    ]
    rows = zip(*(text.fill_null("").to_pylist() for text in texts), strict=True)
    return [names, *(list(row) for row in rows)]


def _broken(file: str, fault: Exception) -> IngestError:
    return IngestError(FileFault.BROKEN_PARQUET, file, why=" ".join(str(fault).split())[:120])


def _batches(log: LogFile) -> Iterator[Raw]:
    above = 0
    try:
        with pq.ParquetFile(log.path) as opened:
            for batch in opened.iter_batches(batch_size=BATCH_ROWS):
                cells = {at: _text(column) for at, column in enumerate(batch.columns)}
                numbers = above + 1 + np.arange(batch.num_rows, dtype=np.int64)
                above += batch.num_rows
                yield raw_rows(numbers, cells, ())
    except (pa.ArrowException, OSError) as fault:
        raise _broken(log.name, fault) from None


def _has_text(kind: pa.DataType) -> bool:
    if pa.types.is_dictionary(kind):
        return _has_text(kind.value_type)
    if pa.types.is_list(kind) or pa.types.is_large_list(kind):
        return pa.types.is_string(kind.value_type) or pa.types.is_large_string(kind.value_type)
    return any(
        fits(kind)
        for fits in (
            pa.types.is_string,
            pa.types.is_large_string,
            pa.types.is_string_view,
            pa.types.is_integer,
            pa.types.is_floating,
            pa.types.is_decimal,
            pa.types.is_boolean,
            pa.types.is_date,
            pa.types.is_timestamp,
            pa.types.is_null,
        )
    )


def _text(column: pa.Array) -> pa.Array:
    """The column as it would be in a CSV file; lists are joined by ``;``.

    Raises
    ------
    pyarrow.ArrowInvalid
        A text in it is not UTF-8, or the column is damaged.
    """
    kind = column.type
    column.validate(full=True)
    if pa.types.is_dictionary(kind):
        return _text(column.dictionary_decode())
    if pa.types.is_list(kind) or pa.types.is_large_list(kind):
        return pc.binary_join(column.cast(pa.list_(pa.string())), ";")
    if pa.types.is_boolean(kind):
        return pc.if_else(column, "yes", "no")
    if pa.types.is_floating(kind) or pa.types.is_decimal(kind):
        return pc.replace_substring_regex(_numbers_text(column), r"\.0+$", "")
    if pa.types.is_date64(kind):
        return column.cast(pa.date32()).cast(pa.string())
    if pa.types.is_timestamp(kind):
        return _moments_text(column)
    return column.cast(pa.string())


def _numbers_text(column: pa.Array) -> pa.Array:
    """Whole numbers in digits, not as 1e+15; other numbers as they are."""
    if pa.types.is_decimal(column.type):
        return column.cast(pa.string())
    numbers = column.cast(pa.float64())
    absent = pc.is_nan(numbers).fill_null(True)
    numbers = pc.if_else(absent, pa.scalar(None, pa.float64()), numbers)
    whole = pc.and_(pc.equal(numbers, pc.floor(numbers)), pc.less(pc.abs(numbers), 2.0**53))
    digits = pc.if_else(whole, numbers, pa.scalar(None, pa.float64())).cast(pa.int64())
    return pc.coalesce(digits.cast(pa.string()), numbers.cast(pa.string()))


def _moments_text(column: pa.Array) -> pa.Array:
    """ISO text; with a zone as UTC, without one as the clock showed it, midnight as a date."""
    zoned = column.type.tz is not None
    clock = column.cast(pa.timestamp("us"), safe=False)
    text = clock.cast(pa.string())  # 2031-03-04 18:30:00.000000
    text = pc.replace_substring_regex(text, r"\.0+$", "")
    if zoned:
        return pc.binary_join_element_wise(text, "Z", "")
    return pc.replace_substring_regex(text, r" 00:00:00$", "")
