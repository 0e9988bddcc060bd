"""Which rows of the files are wrong on purpose, how, and what would have been right?

Only rows are chosen that are the only ones of their key (no correction, nothing withdrawn) in families where
nothing else is planted, so that each wrong row is one row missing and no more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from analysis.vocabulary import NOTHING_SEEN
from synthetic_data.draws import Bools, Ints
from synthetic_data.shapes import Cells, Source


@dataclass(frozen=True)
class WrongRow:
    """One wrong cell of a file, and what it held before."""

    file: str
    """Path below the demo's folder, with forward slashes."""
    sheet: str | None
    row_number: int
    """As a person counts it: from 1, rows above the head and the head included."""
    table: str
    column: str
    """Our name of the column."""
    head: str
    """Its head in the file."""
    reason: str
    """Code of the reason for which the row is refused."""
    wrong: str
    right: str
    """The cell as this file should have it."""
    canonical: str
    """The column as a canonical file should have it."""


@dataclass(frozen=True)
class _Way:
    """One way in which a cell of a column goes wrong."""

    reason: str
    column: str
    spoil: Callable[[str], str]
    fits: Callable[[pd.Series[Any]], pd.Series[Any]]


@dataclass(frozen=True)
class Sheet:
    """Text about to be written, and the frame it came from (same rows)."""

    file: str
    sheet: str | None
    table: str
    frame: pd.DataFrame
    canonical: Cells
    cells: Cells
    looks: Source | None = None
    typed: bool = False

    @property
    def rows_above(self) -> int:
        """Rows above the first row of data (a Parquet file has none)."""
        if self.typed:
            return 0
        return 1 + (self.looks.skip_rows if self.looks else 0)

    def head(self, column: str) -> str:
        """Head of one of our columns."""
        return self.looks.heads[column] if self.looks else column


def spoilt(
    rng: np.random.Generator, sheet: Sheet, share: float, spare: Bools
) -> tuple[Sheet, tuple[WrongRow, ...]]:
    """Spoil about `share` of a sheet's rows, each way at least once; `spare` rows stay right."""
    ways = _ways(sheet)
    count = max(round(share * len(sheet.frame)), len(ways)) if share > 0 else 0
    if sheet.table != "home_log":
        count = min(count, len(ways))
    cells = dict(sheet.cells)
    wrong: list[WrongRow] = []
    taken = spare.copy()
    for at, way in enumerate(ways):
        times = len(range(at, count, len(ways)))
        spots = _spots(rng, sheet, way, ~taken)[:times]
        taken[spots] = True
        for row in np.sort(spots).tolist():
            head = _head(rng, sheet, way)
            right = cells[head][row].as_py()
            wrong.append(_wrong_row(sheet, way, head, row, right))
    for head in {one.head for one in wrong}:
        column = cells[head].to_pylist()
        for one in wrong:
            if one.head == head:
                column[one.row_number - sheet.rows_above - 1] = one.wrong or None
        cells[head] = pa.array(column, pa.string())
    return replace(sheet, cells=cells), tuple(sorted(wrong, key=lambda w: w.row_number))


def _spots(rng: np.random.Generator, sheet: Sheet, way: _Way, free: Bools) -> Ints:
    """Rows that can go wrong this way, in the order in which they are taken."""
    text = pd.Series(sheet.canonical[way.column].to_pylist(), dtype="object")
    able = free & text.notna().to_numpy()
    able[able] = way.fits(text[able]).to_numpy().astype(np.bool_)
    spots = np.flatnonzero(able)
    return spots[::-1] if sheet.table == "lines" else rng.permutation(spots)


def _wrong_row(sheet: Sheet, way: _Way, head: str, row: int, right: str) -> WrongRow:
    return WrongRow(
        file=sheet.file,
        sheet=sheet.sheet,
        row_number=row + sheet.rows_above + 1,
        table=sheet.table,
        column=way.column,
        head=head,
        reason=way.reason,
        wrong=way.spoil(right),
        right=right,
        canonical=sheet.canonical[way.column][row].as_py(),
    )


def is_alone(frame: pd.DataFrame, keys: Sequence[str]) -> pd.Series[bool]:
    """Whether a row is the only one of its key and withdraws nothing."""
    named = frame[list(keys)].notna().all(axis=1)
    return ~(frame.duplicated(list(keys), keep=False) & named) & ~frame["void"]


def _head(rng: np.random.Generator, sheet: Sheet, way: _Way) -> str:
    """Head of the cell that goes wrong: of several ticks, any."""
    if sheet.looks is None:
        return way.column
    ticks = [t.head for t in sheet.looks.ticks if t.column == way.column]
    return ticks[int(rng.integers(len(ticks)))] if ticks else sheet.head(way.column)


def _always(text: pd.Series[Any]) -> pd.Series[Any]:
    return text.notna()


def _typo(text: str) -> str:
    return text[:2] + text[3:]


def _has_code(text: pd.Series[Any]) -> pd.Series[Any]:
    return text != NOTHING_SEEN


def _month_could_be_day(text: pd.Series[Any]) -> pd.Series[Any]:
    parts = text.str.extract(r"^\d{4}-(\d\d)-(\d\d)").astype(int)
    return (parts[1] <= 12) & (parts[0] != parts[1])


def _slashes(text: str) -> str:
    year, month, day = text[:10].split("-")
    return f"{day}/{month}/{year}"


def _february(text: str) -> str:
    return f"30/02/{text[6:]}" if "/" in text else f"{text[:4]}-02-30{text[10:]}"


def _years_off(years: int) -> Callable[[str], str]:
    def spoil(text: str) -> str:
        year = int(text[6:10] if "/" in text else text[:4]) + years
        text = text.replace("29/02/", "28/02/").replace("-02-29", "-02-28")
        return f"{text[:6]}{year}" if "/" in text else f"{year}{text[4:]}"

    return spoil


def _two_digits(text: str) -> str:
    return text[:6] + text[8:]


def _ways(sheet: Sheet) -> tuple[_Way, ...]:
    if sheet.table == "home_log":
        return tuple(_log_ways(sheet))
    return _WAYS_OF_TABLE.get(sheet.table, ())


def _log_ways(sheet: Sheet) -> Iterator[_Way]:
    yield _Way("unknown_line", "line_id", lambda text: text + "0", _always)
    yield _Way("unknown_code", "kind", _typo, _always)
    yield _Way("missing_value", "kind", lambda _: "", _always)
    if sheet.typed:
        return
    yield _Way("missing_value", "done_at", lambda _: "", _always)
    yield _Way("no_such_day", "done_at", _february, _always)
    yield _Way("in_the_future", "done_at", _years_off(1), _always)
    yield _Way("before_placed", "done_at", _years_off(-6), _always)
    yield _Way("not_a_whole_number", "kits_left", lambda _: "two", _always)
    yield _Way("out_of_range", "kits_left", lambda _: "-1", _always)
    if sheet.looks is None:
        yield _Way("ambiguous_date", "done_at", _slashes, _month_could_be_day)
    elif sheet.looks.day_first:
        yield _Way("two_digit_year", "done_at", _two_digits, _always)
    if sheet.looks is not None and sheet.looks.ticks:
        yield _Way("unreadable_tick", "findings", lambda _: "maybe", _always)
    else:
        yield _Way("unknown_code", "findings", _typo, _has_code)


_WAYS_OF_TABLE: dict[str, tuple[_Way, ...]] = {
    "lines": (_Way("removal_incomplete", "removal_reason", lambda _: "", _always),),
    "caregivers": (_Way("unknown_code", "relation", lambda _: "neighbour", _always),),
    "sign_offs": (
        _Way("unknown_code", "outcome", lambda _: "passed", _always),
        _Way("no_such_day", "signed_on", _february, _always),
    ),
    "outcomes": (_Way("unknown_line", "line_id", lambda text: text + "0", _always),),
}
