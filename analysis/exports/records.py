"""How do the records leave as the files they could have come in as?

A CSV file of records can be ingested again: into an empty store it gives the same timeline. As
Parquet the records keep their types; there a day and a moment of the log are two columns.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.exports.catalogue import Table
from analysis.snapshot import Snapshot
from analysis.store import EveryVersion
from analysis.tables.columns import Column, Frame
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW
from analysis.tables.kinds import Kind, Sensitivity
from analysis.tables.records import KNOWN, TIMES
from analysis.vocabulary import Private

RECORDS = tuple(INCOMING)
"""Names of the tables of records."""


NEEDED: Mapping[Sensitivity, frozenset[Private]] = {
    Sensitivity.CONTACT: frozenset({Private.CONTACT}),
    Sensitivity.LANGUAGE: frozenset({Private.LANGUAGE}),
    Sensitivity.FREE_TEXT: frozenset({Private.NOTE}),
    Sensitivity.CLOSED: frozenset(Private),
}
"""What has to be asked for before a column of that sensitivity is exported; none: nothing."""


def record_tables(
    seen: Snapshot, every: Mapping[str, EveryVersion] | None = None
) -> dict[str, Table]:
    """Return the tables of records, typed.

    Parameters
    ----------
    seen : Snapshot
        As of any day; its known-at time counts.
    every : mapping of str to EveryVersion, optional
        What `Store.versions` gives: every version received by the known-at time is written,
        and `void` is whether it withdraws its record. None: the versions in force.

    Returns
    -------
    dict of str to Table
        By name, rows in the order in which they were stored.
    """
    tables = {}
    for name in RECORDS:
        entry = _outside(KNOWN[name], with_void=every is not None)
        if every is None:
            frame = getattr(seen.records, name)
        else:
            known = every[name].frame["received_at"] <= pd.Timestamp(seen.known_at).tz_localize(
                None
            )
            void = pd.Series(every[name].void, index=every[name].frame.index)
            frame = every[name].frame.assign(void=void)[known.to_numpy(dtype=bool)]
        tables[name] = Table(entry, frame[entry.names].reset_index(drop=True))
    return tables


def without(table: Table, asked_for: frozenset[Private]) -> Table:
    """The table without the private columns that were not asked for."""
    nothing: frozenset[Private] = frozenset()
    kept = tuple(
        column
        for column in table.entry.columns
        if NEEDED.get(column.sensitivity, nothing) <= asked_for
    )
    return Table(replace(table.entry, columns=kept), table.frame[[c.name for c in kept]])


def as_incoming(table: Table) -> Table:
    """A table in the form of the files that come in: moments, months and flags as text.

    Examples
    --------
    >>> from analysis.tables import KNOWN
    >>> on = {"done_on": ["2031-03-01"] * 2, "done_at": [None, "2031-03-01T08:15"]}
    >>> log = KNOWN["home_log"].build({"row": [1, 2], "received_at": ["2031-03-02"] * 2, **on,
    ...     "line_id": ["L1"] * 2, "family_id": ["F1"] * 2, "kind": ["flush"] * 2})
    >>> as_incoming(Table(KNOWN["home_log"], log)).frame["done_at"].tolist()
    ['2031-03-01', '2031-03-01T08:15:00Z']
    """
    frame = table.frame
    written = {}
    for column in table.entry.columns:
        cells = frame[column.name]
        if column.kind is Kind.INSTANT:
            written[column.name] = instant_text(cells)
        elif column.kind is Kind.MONTH:
            written[column.name] = cells.dt.strftime("%Y-%m").astype("string")
        elif column.kind is Kind.FLAG:
            written[column.name] = pd.Series(np.where(cells, "yes", "no"), index=cells.index)
        else:
            written[column.name] = cells
    columns = table.entry.columns
    for moment, (day, _) in TIMES.items():
        if {day.name, moment} <= written.keys():
            days = frame[day.name].dt.strftime("%Y-%m-%d").astype("string")
            written[moment] = written[moment].fillna(days)
            as_given = next(e[moment] for e in INCOMING.values() if moment in e.names)
            columns = tuple(
                as_given if c.name == moment else c for c in columns if c.name != day.name
            )
    entry = replace(table.entry, columns=columns)
    return Table(entry, pd.DataFrame({c.name: written[c.name] for c in columns}))


def instant_text(cells: pd.Series) -> pd.Series:
    """Moments as ISO text in UTC, to the microsecond where there are any."""
    text = cells.dt.strftime("%Y-%m-%dT%H:%M:%S.%f").astype("string")
    return text.str.replace(r"\.0+$", "", regex=True) + "Z"


def _outside(entry: Frame, *, with_void: bool) -> Frame:
    kept: tuple[Column, ...] = tuple(c for c in entry.columns if c.name != "row")
    return replace(entry, columns=(*kept, ON_EVERY_ROW[1]) if with_void else kept, key=())
