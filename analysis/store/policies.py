"""Which policy does the store have, who set it and when, and in which zone are its days counted?

Every policy that was set stays stored; the newest counts. The zone of the newest one is that of the
days of the stored rows: another zone needs every moment to be dated again.
"""

from __future__ import annotations

import hashlib

import numpy as np
import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.policy import Policy, parse_policy
from analysis.store import blocks, bulk, chain
from analysis.store.faults import StoreError
from analysis.store.frames import typed
from analysis.store.numbers import next_number
from analysis.store.schema import ROWS, policies
from analysis.tables.columns import Frame

DATED = {"home_log": ("done_on", "done_at"), "calls": ("called_on", "called_at")}
"""Day and moment of the tables whose moments are dated in the programme's zone."""

ROWS_A_PART = 100_000

POLICIES = Frame.of(
    "policies",
    "one row a policy that was set, oldest first",
    "row policy_file sha256 time_zone made_by made_at",
    key="row",
)

OTHER_ZONE = (
    "The store's days are counted in the time zone {stored}, the policy has {given}. Write "
    'time_zone = "{stored}" in it, or set the policy and date all rows again with: linedays policy '
    "--set FILE --redate."
)

OTHER_DAYS = (
    "Stored moments ({rows}) are dated in another time zone than that of the policy, {given}. Set it "
    "and date all rows again with: linedays policy --set FILE --redate."
)


def newest(connection: sa.Connection) -> Policy | None:
    """The policy that counts; None: none was set."""
    last = sa.select(policies.c.text, policies.c.policy_file).order_by(policies.c.row.desc())
    found = connection.execute(last.limit(1)).first()
    return None if found is None else parse_policy(found.text, found.policy_file)


def newest_text(connection: sa.Connection) -> str | None:
    """The text of the policy that counts; None: none was set."""
    last = sa.select(policies.c.text).order_by(policies.c.row.desc())
    text: str | None = connection.execute(last.limit(1)).scalar()
    return text


def every(connection: sa.Connection) -> pd.DataFrame:
    """Every policy that was set; columns as in `POLICIES`."""
    columns = [policies.c[name] for name in POLICIES.names]
    found = bulk.fetch(connection, sa.select(*columns)).sort_by("row")
    return POLICIES.check(typed(found, POLICIES))


def add(
    connection: sa.Connection, text: str, file: str, made_by: str, made_at: int, *, redate: bool
) -> int:
    """Store a policy; returns how many rows got another day.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        The one that writes.
    text, file : str
        The policy file and its full path, for messages and files that it names.
    made_by : str
        Who sets it.
    made_at : int
        When, in microseconds UTC.
    redate : bool
        Date all moments again where the zone is another one.

    Raises
    ------
    StoreError
        Rows are dated in another zone, and not to be dated again.
    PolicyError
        The text is no policy.
    """
    policy = parse_policy(text, file)
    before = newest(connection)
    moved = {name: _moved(connection, name, policy.time_zone) for name in DATED}
    n_moved = sum(rows.num_rows for rows in moved.values())
    if n_moved and not redate:
        if before is not None:
            raise StoreError(OTHER_ZONE.format(stored=before.time_zone, given=policy.time_zone))
        raise StoreError(OTHER_DAYS.format(rows=n_moved, given=policy.time_zone))
    for name, rows in moved.items():
        if rows.num_rows:
            _redate(connection, name, rows)
    connection.execute(
        sa.insert(policies).values(
            row=next_number(connection, policies.c.row),
            text=text,
            policy_file=file,
            sha256=hashlib.sha256(text.encode()).hexdigest(),
            time_zone=policy.time_zone,
            made_by=made_by,
            made_at=made_at,
        )
    )
    return n_moved


def _moved(connection: sa.Connection, name: str, zone: str) -> pa.Table:
    """Rows whose moment lies on another day in a zone than the one they are dated: row and day."""
    table, (day, moment) = ROWS[name], DATED[name]
    query = sa.select(table.c.row, table.c[day], table.c[moment])
    last = connection.execute(sa.select(sa.func.max(table.c.row))).scalar() or 0
    parts = [pa.table({"row": pa.array([], pa.int64()), "day": pa.array([], pa.int64())})]
    for start in range(1, last + 1, ROWS_A_PART):
        some = query.where(
            table.c[moment].is_not(None), table.c.row >= start, table.c.row < start + ROWS_A_PART
        )
        rows = bulk.fetch(connection, some)
        utc = pd.Series(rows[moment].to_numpy().astype("datetime64[us]")).dt.tz_localize("UTC")
        local = utc.dt.tz_convert(zone).dt.tz_localize(None).to_numpy()
        days = local.astype("datetime64[D]").astype(np.int64)
        other = days != rows[day].to_numpy()
        parts.append(pa.table({"row": rows["row"], "day": pa.array(days)}).filter(pa.array(other)))
    return pa.concat_tables(parts)


def _redate(connection: sa.Connection, name: str, rows: pa.Table) -> None:
    table, (day, _) = ROWS[name], DATED[name]
    staged = bulk.stage(connection, "dated_again", rows)
    again = sa.update(table).values({day: staged.c.day}).where(staged.c.row == table.c.row)
    connection.execute(again)
    blocks.make_all(connection, name)
    chain.link_again(connection, name)
