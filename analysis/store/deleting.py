"""How are rows deleted of a table whose rows are only ever added?

Only on request, in one transaction: rows are compared with their links first, the triggers that
refuse it are gone for the moment, and links are made again of what stays. The links of before remain
in the chain, so that its last hash can be compared with an earlier note of it; that rows are gone, and
how many, is a row of `numbers.deletions`, which `verify` compares with the links.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

import pyarrow as pa
import sqlalchemy as sa

from analysis.store import blocks, bulk, chain
from analysis.store.faults import StoreError
from analysis.store.loading import without_triggers
from analysis.store.numbers import deletions, next_number
from analysis.store.schema import KEYS
from analysis.store.verify import differences

CHANGED = (
    "Nothing was deleted, because the store is not as it was stored: {difference}. Find out why "
    "first: a deletion would hide it."
)


def delete(connection: sa.Connection, table: str, numbers: Sequence[int], at: int) -> int:
    """Delete rows of a linked table by their numbers; returns how many there were.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In the transaction of the whole request.
    table : str
        One of `chain.LINKED`.
    numbers : sequence of int
        Numbers of rows; unknown ones are left out.
    at : int
        Microseconds UTC.

    Raises
    ------
    StoreError
        The table is not as it was stored.
    """
    rows, number = chain.LINKED[table], chain.number_of(chain.LINKED[table])
    with _recorded(connection, table, numbers, at, stay=0) as (listed, n_rows):
        if n_rows:
            connection.execute(sa.delete(rows).where(number.in_(sa.select(listed.c.number))))
            if table in KEYS:
                _name_keys_again(connection, rows, KEYS[table])
                blocks.make_all(connection, table)
    return n_rows


def change(
    connection: sa.Connection, table: str, cells: Mapping[int, Mapping[str, str | None]], at: int
) -> None:
    """Set cells of rows of a linked table by their numbers; as :func:`delete`."""
    rows, number = chain.LINKED[table], chain.number_of(chain.LINKED[table])
    with _recorded(connection, table, list(cells), at, stay=1):
        for row, values in cells.items():
            connection.execute(sa.update(rows).where(number == row).values(values))


def _name_keys_again(connection: sa.Connection, rows: sa.Table, keys: sa.Table) -> None:
    """Name keys of which the first row is gone by the first one left; those without any go."""
    gone = rows.c.key_row.not_in(sa.select(rows.c.row))
    first = sa.select(rows.c.key_row, sa.func.min(rows.c.row)).where(gone)
    for before, now in connection.execute(first.group_by(rows.c.key_row)).all():
        for table in (rows, keys):
            named = sa.update(table).where(table.c.key_row == before)
            connection.execute(named.values(key_row=now))
    left = sa.select(rows.c.key_row)
    connection.execute(sa.delete(keys).where(keys.c.key_row.not_in(left)))


@contextmanager
def _recorded(
    connection: sa.Connection, table: str, numbers: Sequence[int], at: int, *, stay: int
) -> Iterator[tuple[sa.TableClause, int]]:
    """Record what is deleted or changed inside the block, and link what stays."""
    rows, number = chain.LINKED[table], chain.number_of(chain.LINKED[table])
    asked = pa.table({"number": pa.array(sorted(numbers), pa.int64())})
    listed = bulk.stage(connection, "asked_numbers", asked)
    query = sa.select(*rows.c).where(number.in_(sa.select(listed.c.number)))
    gone = bulk.fetch(connection, query).sort_by(number.name)
    if gone.num_rows == 0:
        yield listed, 0
        return
    if found := differences(connection, table):
        raise StoreError(CHANGED.format(difference=found))
    last = connection.execute(sa.select(sa.func.max(number))).scalar_one()
    with without_triggers(connection, table):
        yield listed, gone.num_rows
    links = chain.link_remaining(connection, table, last)
    record = {
        "row": next_number(connection, deletions.c.row),
        "table_name": table,
        "n_rows": 0 if stay else gone.num_rows,
        "digest": chain.digest_of(gone),
        "last_row": last,
        "first_link": links[0],
        "last_link": links[1],
        "made_at": at,
    }
    connection.execute(sa.insert(deletions).values(record))


def unlinked_rows(
    connection: sa.Connection, table: sa.Table, where: sa.ColumnElement[bool]
) -> None:
    """Delete rows of a table that has no links but triggers."""
    with without_triggers(connection, table.name):
        connection.execute(sa.delete(table).where(where))
