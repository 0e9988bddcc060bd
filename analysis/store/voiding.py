"""Which rows void what a store holds under some keys?"""

from __future__ import annotations

from hashlib import blake2b

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import earlier
from analysis.store.schema import stored_columns

_FURTHER = ["sheet", "row_number", "extra", "content", "void", "received_at"]


def rows_that_void(
    connection: sa.Connection, table: str, keys: pa.Array, received_at: pa.Array
) -> pa.Table:
    """The versions in force of some keys as rows that void them, in the form of `Writer.add`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    table : str
        Incoming table.
    keys : pyarrow array of 16 bytes, shape (n,)
        Different keys; those that the store does not hold, or holds as void, give no row.
    received_at : pyarrow array of int64, shape (n,)
        When each is void from, microseconds UTC; what was received later stays.
    """
    asked = pa.table({"key": keys, "number": pa.array(np.arange(len(keys)))})
    first = earlier.first_rows(connection, table, asked)
    columns = [*(c.name for c in stored_columns(table)), *_FURTHER]
    found = earlier.versions_of(connection, table, first["key_row"], columns)
    found = found.sort_by([("received_at", "ascending"), ("row", "ascending")])
    newest = np.unique(np.asarray(found["key_row"])[::-1], return_index=True)[1]
    found = found.take(pa.array(found.num_rows - 1 - newest))
    at = pc.index_in(found["key_row"], value_set=first["key_row"].combine_chunks())
    number = first["number"].take(at)
    found = found.append_column("key", asked["key"].take(number))
    found = found.append_column("void_from", received_at.take(number.combine_chunks()))
    there = pc.and_(
        pc.equal(found["void"], 0), pc.less_equal(found["received_at"], found["void_from"])
    )
    found = found.filter(there)
    contents = [
        blake2b(content + b"\x1fno longer ticked", digest_size=16).digest()
        for content in found["content"].to_pylist()
    ]
    voided = {
        "void": pa.array(np.ones(len(contents), np.bool_)),
        "content": pa.array(contents, pa.binary(16)),
        "received_at": found["void_from"],
        "doubts": pa.nulls(len(contents), pa.string()),
    }
    found = found.drop_columns(["void", "content", "received_at", "void_from", "row", "key_row"])
    for name, cells in voided.items():
        found = found.append_column(name, cells)
    return found
