"""Which rows were stored with a receipt in the future, and how are they corrected?

A clock that is ahead gives rows a receipt that has not come yet: every list leaves them out until
then, and they would supersede what is received in between. Nothing that is stored can have been
received later than now, so such a receipt is corrected, not kept as a version.
"""

from __future__ import annotations

from collections.abc import Sequence

import sqlalchemy as sa

from analysis.store import blocks, chain
from analysis.store.schema import ROWS, files, refused


def correct(connection: sa.Connection, numbers: Sequence[int], latest: int, at: int) -> int:
    """Give rows of some ingests that were received later than `latest` the receipt `at`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction.
    numbers : sequence of int
        Numbers of the ingests.
    latest, at : int
        Microseconds UTC.

    Returns
    -------
    int
        How many rows were corrected.
    """
    corrected = 0
    for table, rows in ROWS.items():
        ahead = sa.and_(rows.c.file.in_(numbers), rows.c.received_at > latest)
        changed = _corrected(connection, rows, ahead, at)
        if changed:
            blocks.make_all(connection, table)
            chain.link_again(connection, table)
        corrected += changed
    for provenance in (refused, files):
        ahead = sa.and_(provenance.c.file.in_(numbers), provenance.c.received_at > latest)
        if _corrected(connection, provenance, ahead, at):
            chain.link_again(connection, provenance.name)
    return corrected


def _corrected(
    connection: sa.Connection, rows: sa.Table, ahead: sa.ColumnElement[bool], at: int
) -> int:
    """Correct the receipts of some rows; returns how many there were."""
    n_rows = connection.scalar(sa.select(sa.func.count()).select_from(rows).where(ahead)) or 0
    if n_rows:
        connection.execute(sa.update(rows).where(ahead).values(received_at=at))
    return n_rows
