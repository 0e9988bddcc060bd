"""What is known at a time: of each key the newest version received by then?

Versions are chosen first; cutting by the dates inside the rows is the timeline's matter.

*Source:* project definition, definitions §2.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import sqlalchemy as sa

from analysis.store import blocks, bulk, chain
from analysis.store.every_version import of_revised_keys
from analysis.store.faults import UNKNOWN_WORD, StoreError
from analysis.store.frames import typed
from analysis.store.schema import ROWS, arrangements
from analysis.store.spans import history_spans
from analysis.tables.columns import UnknownWordError
from analysis.tables.incoming import INCOMING
from analysis.tables.records import KNOWN, Records
from analysis.tables.versions import replaced


@dataclass(frozen=True)
class Registry:
    """What checks of incoming rows need, as in force now; dates are days since 1970-01-01.

    `lines`: line_id, child_id, family_id, placed_on, home_from, removed_on, left_on; `stays`:
    child_id, from_on, to_on; `caregivers`: caregiver_id, family_id.
    """

    lines: pa.Table
    stays: pa.Table
    caregivers: pa.Table


REGISTRY = {
    "lines": (
        "line_id",
        "child_id",
        "family_id",
        "placed_on",
        "home_from",
        "removed_on",
        "left_on",
    ),
    "stays": ("child_id", "from_on", "to_on"),
    "caregivers": ("caregiver_id", "family_id"),
}


@dataclass(frozen=True)
class Streamed:
    """Records whose log comes block after block, as one moment of the store has them."""

    without_log: Records
    """The records; their log is empty, and of it nothing is in `not_yet_known`."""
    log: Iterator[pa.Table]
    """The log's rows in force, columns as stored; it has to be read to its end."""
    later: list[int]
    """Of each block read so far: log rows received after the instant."""


def streamed(connection: sa.Connection, known_at: int | None) -> Streamed:
    """As `records`, for logs that do not fit into memory."""
    later: list[int] = []
    in_force = _in_force(connection, "home_log", known_at, later)
    log = (in_force(block) for _, block in blocks.each(connection, "home_log"))
    others = tuple(name for name in INCOMING if name != "home_log")
    return Streamed(records(connection, known_at, others), log, later)


def records(
    connection: sa.Connection, known_at: int | None, names: Iterable[str] = tuple(INCOMING)
) -> Records:
    """Every record as known at an instant (microseconds UTC; None: all that is stored).

    A table not in `names` is left empty.
    """
    later: list[int] = []
    frames = {name: typed(_known(connection, name, known_at, later), KNOWN[name]) for name in names}
    frames["arrangements"] = arrangements_in_force(connection, known_at)
    frames["earlier_lines"] = earlier_lines(connection, known_at)
    ends = chain.ends(connection)
    links = {name: ends[name] for name in names if name in ends and name != "calls"}
    try:
        return Records.of(frames, sum(later), history_spans(connection), links)
    except UnknownWordError as unknown:
        raise StoreError(UNKNOWN_WORD.format(words=unknown.words)) from None


def calls(connection: sa.Connection, known_at: int | None) -> pd.DataFrame:
    """Calls as known at an instant; columns as in `KNOWN`."""
    return KNOWN["calls"].check(typed(_known(connection, "calls", known_at, []), KNOWN["calls"]))


def _known(
    connection: sa.Connection, name: str, known_at: int | None, later: list[int]
) -> pa.Table:
    """Rows in force at the instant; how many were received after it is added to `later`."""
    return blocks.read(connection, name, _in_force(connection, name, known_at, later))


def _in_force(
    connection: sa.Connection, name: str, known_at: int | None, later: list[int]
) -> Callable[[pa.Table], pa.Table]:
    """Make what leaves of each block the rows in force at the instant."""
    gone = np.sort(_superseded(connection, ROWS[name], known_at))

    def in_force(rows: pa.Table) -> pa.Table:
        holds = rows["void"].to_numpy() == 0
        if known_at is not None:
            is_received = rows["received_at"].to_numpy() <= known_at
            later.append(len(is_received) - int(np.count_nonzero(is_received)))
            holds &= is_received
        number = rows["row"].to_numpy()  # in order, as the rows of a block are
        own = gone[(gone >= number[0]) & (gone <= number[-1])] if len(number) else gone[:0]
        place = np.searchsorted(number, own)
        holds[place[number[place] == own]] = False
        return rows if holds.all() else rows.filter(pa.array(holds))

    return in_force


def earlier_lines(connection: sa.Connection, known_at: int | None) -> pd.DataFrame:
    """Versions of lines' rows received by an instant and replaced by then, none withdrawn since."""
    versions = of_revised_keys(connection, "lines")
    received = versions.frame["received_at"].to_numpy().astype("datetime64[us]").astype(np.int64)
    order = np.lexsort((versions.frame["row"].to_numpy(), received))
    if known_at is not None:
        order = order[received[order] <= known_at]
    found = order[replaced(versions.key[order], versions.void[order])]
    return versions.frame.take(found)[KNOWN["earlier_lines"].names].reset_index(drop=True)


def registry(connection: sa.Connection) -> Registry:
    """Lines, stays and caregivers as in force now."""
    return Registry(
        **{
            name: newest(connection, name, ["row", *columns]).drop_columns(["row"])
            for name, columns in REGISTRY.items()
        }
    )


def newest(
    connection: sa.Connection, name: str, columns: list[str], *also: sa.ColumnElement[bool]
) -> pa.Table:
    """Columns (`row` among them) of the rows in force now for which `also` holds, in no order."""
    rows = ROWS[name]
    query = sa.select(*(rows.c[c] for c in columns)).where(rows.c.void == 0, *also)
    table = bulk.fetch(connection, query)
    gone = _superseded(connection, rows, None)
    return table.filter(pa.array(np.isin(table["row"].to_numpy(), gone, invert=True)))


def doubted(
    connection: sa.Connection, name: str, columns: list[str], *also: sa.ColumnElement[bool]
) -> pa.Table:
    """The same of rows with a doubt, which are few: their other versions are searched one by one."""
    rows = ROWS[name]
    odd = (rows.c.doubts.is_not(None), rows.c.void == 0, in_force_now(rows), *also)
    return bulk.fetch(connection, sa.select(*(rows.c[c] for c in columns)).where(*odd))


def _superseded(connection: sa.Connection, rows: sa.Table, known_at: int | None) -> np.ndarray:
    """Rows of keys with several versions that are not in force at the instant."""
    versions = pa.concat_tables([bulk.fetch(connection, each) for each in _versions_of(rows)])
    if known_at is not None:
        versions = versions.filter(pc.less_equal(versions["received_at"], known_at))
    key, received, row = (versions[c].to_numpy() for c in ("key_row", "received_at", "row"))
    order = np.lexsort((row, received, key))
    key, row = key[order], row[order]
    is_last = np.ones(len(row), dtype=bool)
    is_last[:-1] = key[1:] != key[:-1]
    return row[~is_last]


@cache
def _versions_of(rows: sa.Table) -> tuple[sa.Select[tuple[int, int, int]], ...]:
    """Select the first and the later versions of keys with several."""
    later = rows.alias("later")
    keys = sa.select(later.c.key_row).where(later.c.row != later.c.key_row)
    versions = sa.select(rows.c.key_row, rows.c.received_at, rows.c.row)
    return versions.where(rows.c.row.in_(keys)), versions.where(rows.c.row != rows.c.key_row)


def in_force_now(rows: sa.Table) -> sa.ColumnElement[bool]:
    """Of a stored row: no other version of its key took its place. For selections of few rows."""
    other = rows.alias("other")
    took_its_place = sa.or_(
        other.c.received_at > rows.c.received_at,
        sa.and_(other.c.received_at == rows.c.received_at, other.c.row > rows.c.row),
    )
    is_later = sa.and_(other.c.row != other.c.key_row, other.c.key_row == rows.c.key_row)
    is_first = other.c.row == rows.c.key_row
    return ~sa.or_(
        sa.exists().where(is_later, took_its_place), sa.exists().where(is_first, took_its_place)
    )


def arrangements_in_force(connection: sa.Connection, known_at: int | None) -> pd.DataFrame:
    """Arrangements made by an instant and not undone by then."""
    query = sa.select(*arrangements.c)
    if known_at is not None:
        query = query.where(arrangements.c.made_at <= known_at)
    table = bulk.fetch(connection, query)
    back = pc.unique(table["takes_back"].drop_null())
    in_force = pc.and_(
        pc.is_null(table["takes_back"]), pc.invert(pc.is_in(table["row"], value_set=back))
    )
    return typed(table.filter(in_force).sort_by("row"), KNOWN[arrangements.name])
