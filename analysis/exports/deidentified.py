"""What of the tables may leave the team, and in which form?

The sensitivity of a field decides: a code is replaced, a date moved by its child's own number
of days, a month of birth becomes an age band, of what is plain a rare word is hidden. All else
(text, moments, staff, and a field whose sensitivity nobody has stated) is left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, dates_of, days_of
from analysis.exports.catalogue import TABLES, Table
from analysis.exports.folder import ExportError
from analysis.exports.pseudonyms import Key
from analysis.exports.rare_values import HIDDEN, rare_values
from analysis.exports.records import record_tables
from analysis.snapshot import Snapshot
from analysis.stats.small_cells import LARGEST_HIDDEN
from analysis.tables.columns import Column
from analysis.tables.fields import field_of
from analysis.tables.kinds import Kind, Sensitivity
from analysis.tables.timeline import TALLY
from analysis.tallies.pieces import bands_of, month_of
from analysis.words import day_year

WORKED_OUT = ("home_periods", "accessed_periods", "intervals", "skin_events", "outcome_events")
"""Tables of an extract next to those of the records."""

LEFT_OUT = ("calls",)
"""Records that are about staff: never in an extract."""

_RECEIVED_ON = Column.of(field_of("received_on"))
_AGE_BAND = replace(TALLY["age_band"], meaning="age in years on the first day at home")
_CHILD = Column.of(field_of("child_id"))
_SHIFTED = "moved by the child's own number of days"
_BLANK = ""
_ORDER = "interval_days"
_OF_ORDER = ("due_on", "allowed_until", "late_days", "in_date_days", "out_of_date_days")
"""An order is days between changes: where they are hidden, so is what follows from them."""


@dataclass(frozen=True)
class Extract:
    """Tables without codes, dates, text and rare words of the store."""

    tables: Mapping[str, Table]
    children: int
    hidden: pd.DataFrame
    """One row a column with hidden values: `column`, `children` that hold one of them."""
    rows_without_child: int
    """Rows of no child with a line; they are not in the tables."""


def deidentify(seen: Snapshot, key: Key) -> Extract:
    """Make the tables of a de-identified extract.

    Parameters
    ----------
    seen : Snapshot
        What is known, and as of which day.
    key : Key
        Decides on codes and shifts.

    Returns
    -------
    Extract
        Rows in the order of their new codes and dates.

    Raises
    ------
    ExportError
        There are ten children or fewer: their number alone is a small cell.
    """
    records = {n: t for n, t in record_tables(seen).items() if n not in LEFT_OUT}
    whole = {**records, **{name: TABLES[name](seen) for name in WORKED_OUT}}
    lines, caregivers = whole["lines"].frame, whole["caregivers"].frame
    n_children = lines["child_id"].nunique()
    if n_children <= LARGEST_HIDDEN:
        raise ExportError(
            f"An extract needs more than {LARGEST_HIDDEN} children; of the days before "
            f"{day_year(seen.as_of)} there are {n_children}. Nothing was written."
        )
    moved, n_without = {}, 0
    for name, table in whole.items():
        of_children = _of_children(table, lines, caregivers)
        is_known = of_children.frame["child_id"].notna()
        n_without += int((~is_known).sum())
        known = Table(of_children.entry, of_children.frame[is_known.to_numpy(dtype=bool)])
        moved[name] = _moved(known, seen, key)
    tables, hidden = _hidden(moved)
    return Extract(
        {name: _in_order(table) for name, table in tables.items()}, n_children, hidden, n_without
    )


def _of_children(table: Table, lines: pd.DataFrame, caregivers: pd.DataFrame) -> Table:
    """The table with the child of each row; what is a caregiver's is listed once for each child."""
    frame, entry = table.frame, table.entry
    if "child_id" not in frame.columns and "line_id" in frame.columns:
        frame = frame.merge(lines[["line_id", "child_id"]], on="line_id", how="left")
    elif "child_id" not in frame.columns:
        if "family_id" not in frame.columns:
            of_family = caregivers[["caregiver_id", "family_id"]]
            frame = frame.merge(of_family, on="caregiver_id", how="left")
        children = lines[["family_id", "child_id"]].drop_duplicates()
        frame = frame.merge(children, on="family_id", how="left")
    child = frame["child_id"].where(frame["child_id"].isin(lines["child_id"]))
    if "child_id" not in entry.names:
        entry = replace(entry, columns=(_CHILD, *entry.columns))
    return Table(entry, frame.assign(child_id=child))


def _moved(table: Table, seen: Snapshot, key: Key) -> Table:
    """The columns that may leave, each in the form in which it may."""
    shift = key.shifts(table.frame["child_id"])
    made = [_leaving(column, table.frame, shift, seen, key) for column in table.entry.columns]
    kept = [pair for pair in made if pair is not None]
    frame = pd.DataFrame(
        {
            column.name: np.asarray(cells) if column.kind is Kind.DATE else cells
            for column, cells in kept
        },
        index=table.frame.index,
    )
    return Table(replace(table.entry, columns=tuple(column for column, _ in kept)), frame)


def _leaving(
    column: Column, frame: pd.DataFrame, shift: Any, seen: Snapshot, key: Key
) -> tuple[Column, Any] | None:
    cells = frame[column.name]
    if _is_code(column):
        new = key.codes(column.name.removesuffix("_id"), cells)
        return replace(column, meaning=f"{column.meaning}; replaced"), new
    if column.sensitivity is Sensitivity.BIRTH:
        month = month_of(days_of(frame["home_from"]))
        starts = seen.edition.settings.age_band_starts
        return _AGE_BAND, pd.Series(bands_of(days_of(cells), month, starts), index=frame.index)
    if column.name == "received_at":
        column, cells = _RECEIVED_ON, _local_days(cells, seen.policy.time_zone)
    if column.sensitivity is Sensitivity.DATE and column.kind is Kind.DATE:
        return replace(column, unit=_SHIFTED), _later(cells, shift)
    if column.sensitivity is not Sensitivity.PLAIN or column.kind is Kind.TEXT:
        return None
    return column, cells.astype("string") if column.kind in {Kind.CODE, Kind.CODES} else cells


def _is_code(column: Column) -> bool:
    """Whether a column holds one code in each cell, which can be replaced."""
    return column.sensitivity is Sensitivity.CODE and column.kind is Kind.TEXT


def _local_days(moments: pd.Series[Any], zone: str) -> pd.Series[Any]:
    """Days of UTC moments in a zone."""
    local = moments.dt.tz_localize("UTC").dt.tz_convert(zone)
    return local.dt.tz_localize(None).dt.floor("D")


def _later(dates: pd.Series[Any], shift: Any) -> Any:
    days = days_of(dates)
    return dates_of(np.where(days == NO_DAY, NO_DAY, days + shift))


def _hidden(tables: Mapping[str, Table]) -> tuple[dict[str, Table], pd.DataFrame]:
    """Hide rare words: a word of a column is rare, or not, in all tables together."""
    of_words: dict[str, list[tuple[str, Column]]] = {}
    for name, table in tables.items():
        for column in table.entry.columns:
            if _holds_words(name, column):
                words = f"{name}.{column.name}" if column.only_in else column.name
                of_words.setdefault(words, []).append((name, column))
    left, hidden = dict(tables), []
    for words, places in of_words.items():
        held = pd.concat([_held(left[name].frame, column) for name, column in places])
        is_number = places[0][1].kind is Kind.COUNT  # hidden ones are blank
        blank = _BLANK if is_number else None
        rare = rare_values(held["child"], held["value"], blank)
        if not rare:
            continue
        hidden.append((words, held["child"][held["value"].isin(rare)].nunique()))
        for name, column in places:
            left[name] = _without_rare(left[name], column, rare)
            if column.name == _ORDER:
                left[name] = _without_order(left[name], tables[name].frame[_ORDER])
    return left, pd.DataFrame(hidden, columns=["column", "children"])


def _holds_words(name: str, column: Column) -> bool:
    return (
        column.kind in {Kind.CODE, Kind.CODES}
        or column.name == "site"
        or (name == "lines" and column.kind is Kind.COUNT)
        or column.name == _ORDER
    )


def _held(frame: pd.DataFrame, column: Column) -> pd.DataFrame:
    """One row a child and word that it holds; a blank is a word too."""
    value = frame[column.name].astype("string").fillna(_BLANK)
    held = pd.DataFrame({"child": frame["child_id"], "value": value}).drop_duplicates()
    if column.kind is Kind.CODES:
        held = held.assign(value=held["value"].str.split(";")).explode("value")
    return held.astype({"value": "object"})


def _without_rare(table: Table, column: Column, rare: frozenset[str]) -> Table:
    cells = table.frame[column.name]
    text = cells.astype("string").fillna(_BLANK)
    shown: pd.Series[Any]
    if column.kind is Kind.COUNT:
        described = replace(column, blank=f"{column.blank or 'not recorded'}, or {HIDDEN}: rare")
        shown = cells.astype("Int64").mask(text.isin(rare))
    else:
        described = replace(column, allowed=(*column.allowed, HIDDEN) if column.allowed else ())
        is_list = column.kind is Kind.CODES
        words = {word: _shown(word, rare, is_list=is_list) for word in text.unique()}
        shown = text.map(words).astype("string")
    columns = tuple(described if c.name == column.name else c for c in table.entry.columns)
    return Table(replace(table.entry, columns=columns), table.frame.assign(**{column.name: shown}))


def _without_order(table: Table, orders: pd.Series[Any]) -> Table:
    """Blank what follows from orders where these are hidden."""
    is_hidden = (table.frame[_ORDER].isna() & orders.notna()).to_numpy(dtype=bool)
    names = [name for name in _OF_ORDER if name in table.frame.columns]
    blank = {}
    for name in names:
        cells = table.frame[name]
        cells = cells.astype("Int64") if pd.api.types.is_integer_dtype(cells) else cells
        blank[name] = cells.mask(is_hidden)
    columns = tuple(
        replace(c, blank=f"{c.blank or 'not recorded'}, or {HIDDEN}: the order is rare")
        if c.name in names
        else c
        for c in table.entry.columns
    )
    return Table(replace(table.entry, columns=columns), table.frame.assign(**blank))


def _shown(word: str, rare: frozenset[str], *, is_list: bool) -> str | None:
    parts = word.split(";") if is_list else [word]
    return ";".join(sorted({HIDDEN if part in rare else part for part in parts})) or None


def _in_order(table: Table) -> Table:
    """Rows in an order that the old codes have no part in."""
    columns = table.entry.columns
    codes = [c.name for c in columns if _is_code(c) and c.name != "entry_id"]
    dates = [c.name for c in columns if c.kind is Kind.DATE]
    return Table(table.entry, table.frame.sort_values([*codes, *dates], ignore_index=True))
