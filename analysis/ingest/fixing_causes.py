"""How are all refused rows of one cause fixed by one correction: a word, a code, a date order?"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import orjson
import pandas as pd

from analysis.ingest.heads import REFUSED_ROW
from analysis.ingest.moments import DateOrder, DateStyle
from analysis.ingest.profile import Profile, TableProfile
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import Refusal
from analysis.ingest.refused import heads_of
from analysis.ingest.run import ingest
from analysis.ingest.summary import IngestSummary
from analysis.policy import Policy
from analysis.store import Store
from analysis.tables.printed import guarded
from analysis.unfinished import temporary_folder

ORDERS = {DateOrder.DMY: "day, month, year", DateOrder.MDY: "month, day, year"}
"""Orders of dates that may be chosen, in words."""
_ORDERED = frozenset({Refusal.AMBIGUOUS_DATE, Refusal.DATE_ORDER, Refusal.TWO_DIGIT_YEAR})


@dataclass(frozen=True)
class Cause:
    """What is wrong in the same way with several rows; `value` is None for an order of dates."""

    table: str
    column: str
    reason: str
    value: str | None

    @property
    def is_order(self) -> bool:
        """Whether an order of dates corrects it."""
        return self.reason in _ORDERED


def causes(rows: pd.DataFrame) -> list[tuple[Cause, int]]:
    """Causes of refused rows that one correction can fix, with their rows, most rows first.

    Parameters
    ----------
    rows : DataFrame
        As `Store.refused` gives them.
    """
    names = ("table", "column", "reason", "value")
    facts = zip(*(rows[name].astype(object).tolist() for name in names), strict=True)
    counted = Counter(
        Cause(str(table), str(column), str(reason), None if reason in _ORDERED else str(value))
        for table, column, reason, value in facts
        if isinstance(column, str) and reason != Refusal.RAGGED_ROW
        if isinstance(value, str) or reason in _ORDERED
    )
    return counted.most_common()


def rows_of(rows: pd.DataFrame, cause: Cause) -> pd.DataFrame:
    """The refused rows of a cause."""
    same = (rows["table"] == cause.table) & (rows["column"] == cause.column)
    same &= rows["reason"] == cause.reason
    if not cause.is_order:
        same &= rows["value"] == cause.value
    return rows[same.fillna(False).to_numpy(dtype=bool)]


def fix_cause(
    store: Store, cause: Cause, write: str, policy: Policy, *, at: datetime, brought_by: str
) -> IngestSummary:
    """Write one value into the cell at fault of all rows of a cause, and ingest them.

    Each row is a correction like a single one: it is stored, or refused again for what else is
    wrong with it, and takes the place of the row on the list.

    Parameters
    ----------
    store : Store
        Where they are stored; one that is only tried for a preview.
    cause : Cause
        Which rows.
    write : str
        The value; for an order of dates ``dmy`` or ``mdy``, and the cells stay as they are.
    policy : Policy
        As for `ingest`.
    at : datetime
        Receipt of rows that have none of their own; also the time of ingest.
    brought_by : str
        Code of who corrects them.

    Returns
    -------
    IngestSummary
        Counts; no table where no row of the cause is on the list (any more).
    """
    found = rows_of(store.refused(), cause)
    with temporary_folder() as folder:
        logs = {
            str(source): _as_file(rows, cause, write, folder / f"{n}")
            for n, (source, rows) in enumerate(found.groupby("source", sort=True))
        }
        parts = [
            ingest(
                store,
                log,
                policy,
                Profile(source, dates=_style(cause, write), tables={cause.table: TableProfile()}),
                cause.table,
                at,
                ingested_at=at,
                brought_by=brought_by,
            )
            for source, log in logs.items()
        ]
    return IngestSummary(
        tuple(table for part in parts for table in part.tables),
        tuple(fault for part in parts for fault in part.faults),
        tuple(note for part in parts for note in part.notes),
    )


def _style(cause: Cause, write: str) -> DateStyle:
    return DateStyle(DateOrder(write), short_years=True) if cause.is_order else DateStyle()


def _as_file(rows: pd.DataFrame, cause: Cause, write: str, path: Path) -> LogFile:
    wholes: Sequence[Mapping[str, str]] = [orjson.loads(text) for text in rows["row"]]
    heads = heads_of(cause.table, wholes)
    text = io.StringIO(newline="")
    sheet = csv.writer(text)
    sheet.writerow([*heads, REFUSED_ROW])
    for number, whole in zip(rows["refused_row"], wholes, strict=True):
        cells = dict(whole) if cause.is_order else {**whole, cause.column: write}
        sheet.writerow([*(guarded(cells.get(head, "")) for head in heads), int(number)])
    path.write_bytes(text.getvalue().encode("utf-8"))
    what = f"order {write}" if cause.is_order else f'"{cause.value}"'
    return LogFile(path, f"{cause.table} {cause.column} {what[:40]}, {len(rows)} rows corrected")
