"""Which stored rows are a family's, and which codes lead to it?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import orjson
import pyarrow as pa
import sqlalchemy as sa

from analysis.store import bulk
from analysis.store.deleted import CODES, plain
from analysis.store.faults import StoreError
from analysis.store.schema import (
    KEYS,
    ROWS,
    arrangements,
    files,
    rate_notes,
    refused,
    refused_resolved,
    signal_acts,
    training_sessions,
)

_LATER_FAMILY = (
    "{codes} also belong to other families ({families}). Nothing was deleted. With --shared all their "
    "rows are deleted, those of the time at the other family too."
)
LEFT_OUT = "(deleted on request)"
"""What is in the place of a code in a file's name or a text of staff."""
_TEXTS = ((files, "name"), (rate_notes, "text"), (signal_acts, "note"))
"""Texts that are not of any family and may name one."""
_MEMBERS = {"family_ids": "family_id", "caregiver_ids": "caregiver_id"}
"""Lists of the training sessions, and the codes in them."""


@dataclass(frozen=True)
class FamilyRows:
    """What is to be deleted and changed: numbers of rows by table."""

    codes: Mapping[str, frozenset[str]]
    """Codes of the family by the column that they are in."""
    deleted: Mapping[str, frozenset[int]]
    changed: Mapping[str, Mapping[int, Mapping[str, str | None]]]
    """Cells to set, by table and row."""
    sites: frozenset[str] = field(default=frozenset())


def family_rows(connection: sa.Connection, family_id: str, *, shared: bool) -> FamilyRows:
    """Find all rows of a family, of every site and time.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Reads.
    family_id : str
        Its code.
    shared : bool
        Whether children, lines and caregivers that were also of another family are deleted.

    Raises
    ------
    StoreError
        There is no such family, or there are such children, lines or caregivers and `shared` is not
        set.
    """
    codes = _codes(connection, family_id)
    _refuse_shared(connection, family_id, codes, shared=shared)
    deleted = {table: _of_table(connection, table, codes) for table in ROWS}
    deleted[refused.name] = _refused(connection, codes, deleted)
    own = sa.select(arrangements.c.row).where(arrangements.c.family_id == family_id)
    deleted[arrangements.name] = frozenset(connection.scalars(own))
    if not any(deleted.values()):
        raise StoreError(
            f"There is no family {family_id} in the store. Check how the code is written, capital "
            "letters too."
        )
    every = {code for some in codes.values() for code in some}
    changed = {table.name: _texts(connection, table, name, every) for table, name in _TEXTS}
    changed[training_sessions.name] = _sessions(connection, codes)
    lines = ROWS["lines"]
    sites = connection.scalars(sa.select(lines.c.site).where(lines.c.line_id.in_(codes["line_id"])))
    return FamilyRows(codes, deleted, changed, frozenset(site for site in sites if site))


def _codes(connection: sa.Connection, family_id: str) -> dict[str, frozenset[str]]:
    lines, caregivers = ROWS["lines"], ROWS["caregivers"]

    def codes(column: sa.Column[str], table: sa.Table) -> frozenset[str]:
        query = sa.select(column).where(table.c.family_id == family_id).distinct()
        return frozenset(code for code in connection.scalars(query) if code)

    return {
        "family_id": frozenset({family_id}),
        "child_id": codes(lines.c.child_id, lines),
        "line_id": codes(lines.c.line_id, lines),
        "caregiver_id": codes(caregivers.c.caregiver_id, caregivers),
    }


def _refuse_shared(
    connection: sa.Connection, family_id: str, codes: Mapping[str, frozenset[str]], *, shared: bool
) -> None:
    found: dict[str, set[str]] = {}
    for kind, table in (
        ("child_id", "lines"),
        ("line_id", "lines"),
        ("caregiver_id", "caregivers"),
    ):
        rows = ROWS[table]
        query = sa.select(rows.c[kind], rows.c.family_id).where(
            rows.c[kind].in_(codes[kind]), rows.c.family_id != family_id
        )
        for code, family in connection.execute(query.distinct()):
            found.setdefault(family, set()).add(code)
    if found and not shared:
        named = ", ".join(sorted(set().union(*found.values())))
        raise StoreError(_LATER_FAMILY.format(codes=named, families=", ".join(sorted(found))))


def _of_table(
    connection: sa.Connection, table: str, codes: Mapping[str, frozenset[str]]
) -> frozenset[int]:
    """Rows that name the family, and all versions of keys that are its by their newest one.

    So of an entry that was sent for the family by mistake and corrected, the other family's version
    stays.
    """
    rows = ROWS[table]
    named = [kind for kind in CODES if kind in rows.c and kind != "caregiver_id"]
    named = named or ["caregiver_id"]
    is_own = sa.or_(*(rows.c[kind].in_(codes[kind]) for kind in named))
    with_code = sa.or_(*(rows.c[kind].is_not(None) for kind in named))
    ever = sa.select(rows.c.key_row).where(is_own)
    newest = sa.select(sa.func.max(rows.c.row)).where(with_code, rows.c.key_row.in_(ever))
    newest = newest.group_by(rows.c.key_row)
    keys = sa.select(rows.c.key_row).where(is_own, rows.c.row.in_(newest))
    query = sa.select(rows.c.row).where(sa.or_(is_own, rows.c.key_row.in_(keys)))
    return frozenset(connection.scalars(query))


def _refused(
    connection: sa.Connection,
    codes: Mapping[str, frozenset[str]],
    deleted: Mapping[str, frozenset[int]],
) -> frozenset[int]:
    """Refused rows that name the family, or in whose place a row of it was stored."""
    same = {kind: {plain(code) for code in some} for kind, some in codes.items()}
    others = {kind: _codes_of_others(connection, kind, some) for kind, some in codes.items()}
    stored = _Stored.of(connection, deleted)
    leaving = sa.select(refused_resolved.c.refused_row, refused_resolved.c.file)
    leaving = leaving.where(refused_resolved.c.how == "corrected")
    corrected = {left.refused_row: left.file for left in connection.execute(leaving)}
    found = set()
    query = sa.select(refused, files.c.sha256).join(files, files.c.file == refused.c.file)
    for row in connection.execute(query).mappings():
        cells = orjson.loads(row["whole_row"])
        named = [(kind, str(cells[kind])) for kind in CODES if cells.get(kind) is not None]
        is_others = any(code in others[kind] for kind, code in named)
        place = (row["sha256"], row["table_name"], row["sheet"], row["row_number"])
        if (
            any(plain(code) in same[kind] and code not in others[kind] for kind, code in named)
            or (row["key"] is not None and (row["table_name"], bytes(row["key"])) in stored.keys)
            or place in stored.places
            or (corrected.get(row["refused_row"]) in stored.files and not is_others)
        ):
            found.add(row["refused_row"])
    return frozenset(found)


def _codes_of_others(connection: sa.Connection, kind: str, own: frozenset[str]) -> set[str]:
    """Codes that other families have."""
    column = ROWS["caregivers" if kind == "caregiver_id" else "lines"].c[kind]
    return {code for code in connection.scalars(sa.select(column).distinct()) if code not in own}


@dataclass(frozen=True)
class _Stored:
    """Where the family's rows came from."""

    keys: set[tuple[str, bytes]]
    places: set[tuple[str, str, str | None, int]]
    """SHA-256 of the file, table, sheet, number of the row."""
    files: set[int]

    @classmethod
    def of(cls, connection: sa.Connection, deleted: Mapping[str, frozenset[int]]) -> _Stored:
        found = cls(set(), set(), set())
        for table, rows in ROWS.items():
            asked = pa.table({"number": pa.array(sorted(deleted[table]), pa.int64())})
            numbers = sa.select(bulk.stage(connection, "asked_numbers", asked).c.number)
            named = sa.select(KEYS[table].c.key).where(KEYS[table].c.key_row.in_(numbers))
            found.keys.update((table, bytes(key)) for key in connection.scalars(named))
            query = sa.select(rows.c.file, files.c.sha256, rows.c.sheet, rows.c.row_number)
            query = query.join(files, files.c.file == rows.c.file).where(rows.c.row.in_(numbers))
            for file, sha256, sheet, number in connection.execute(query):
                found.files.add(file)
                found.places.add((sha256, table, sheet, number))
        return found


def _texts(
    connection: sa.Connection, table: sa.Table, name: str, codes: set[str]
) -> dict[int, dict[str, str | None]]:
    """Texts that name a code of the family, without it."""
    number = next(iter(table.c))
    every = "|".join(re.escape(code) for code in sorted(codes, key=len, reverse=True))
    named = re.compile(rf"(?<!\w)(?:{every})(?!\w)")
    query = sa.select(number, table.c[name]).where(table.c[name].is_not(None))
    return {
        row: {name: named.sub(LEFT_OUT, text)}
        for row, text in connection.execute(query)
        if named.search(text)
    }


def _sessions(
    connection: sa.Connection, codes: Mapping[str, frozenset[str]]
) -> dict[int, dict[str, str | None]]:
    """Training sessions to which the family was invited, without it."""
    table, changed = training_sessions, {}
    for row in connection.execute(sa.select(table)).mappings():
        cells = {}
        for name, kind in _MEMBERS.items():
            listed = (row[name] or "").split(";")
            left = [code for code in listed if code not in codes[kind]]
            if left != listed:
                cells[name] = ";".join(left) or None
        if cells:
            changed[row["row"]] = cells
    return changed
