"""Which rows of a sheet are the head of which of our tables?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from analysis.ingest.evidence import is_day
from analysis.ingest.grid import Grid
from analysis.ingest.heads import joined_heads, table_of_name
from analysis.ingest.matching import SURE, Match, matches
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW

LEAST_DAYS = 3
"""Heads that are days from which a sheet is taken to have one column a day."""
MOST_HEADS = 400
"""Filled cells of a row that are compared with our columns."""
LONGEST_HEAD = 200
"""Characters of a head that are compared."""
_TITLE_ROWS = 12
"""Rows from the top among which the head is looked for."""


def best_header(found: Sequence[Grid], tables: Sequence[str]) -> Header | None:
    """The head row that is most like one of some tables; None: no sheet has a row."""
    headers = (_header(grid, table) for grid in found for table in tables)
    return max(headers, key=lambda header: header.score, default=None)


def columns_of(table: str) -> list[str]:
    """Columns that a sheet of a table may have."""
    return [c.name for c in (*INCOMING[table].columns, *ON_EVERY_ROW)]


@dataclass(frozen=True)
class Header:
    """Where the head row of a sheet is, if the sheet holds a table."""

    grid: Grid
    table: str
    skip_rows: int
    head_rows: int
    head: Sequence[str]
    score: float


def _header(grid: Grid, table: str) -> Header:
    """The rows that look most like a head of the table."""
    best = Header(grid, table, 0, 1, (), 0.0)
    named = table in {table_of_name(n) for n in (grid.sheet or "", grid.file)}
    for skip in range(min(_TITLE_ROWS, len(grid.rows))):
        below = grid.rows[skip + 1] if skip + 1 < len(grid.rows) else ()
        goes_on = any(below) and not _has_digit(below)  # a first row of data holds a date
        for n in (1, 2) if goes_on else (1,):
            head = joined_heads(grid.rows[skip : skip + n])
            score = (
                _score(head, table) + (0.5 if named else 0.0) - (1.0 if goes_on and n == 1 else 0)
            )
            if score > best.score and sum(map(bool, head)) > 1:
                best = Header(grid, table, skip, n, head, score)
    return best


def _has_digit(row: Sequence[str]) -> bool:
    return any(c.isdigit() for cell in row for c in cell)


@lru_cache(maxsize=10_000)
def _best(cell: str, table: str) -> tuple[Match, ...]:
    """The likeliest column of a head, if there is one; rows are compared again and again."""
    return tuple(matches(cell[:LONGEST_HEAD], columns_of(table), "columns")[:1])


def _score(head: Sequence[str], table: str) -> float:
    """How many of the table's columns a head row has; those it needs count twice."""
    required = {c.name for c in INCOMING[table].columns if c.required}
    seen: dict[str, float] = {}
    cells = [cell for cell in head if cell][:MOST_HEADS]
    for cell in cells:
        found = _best(cell, table)
        for match in found:
            weight = 2.0 if match.meaning in required else 1.0
            weight *= 1.0 if match.likeness >= SURE else 0.4
            seen[match.meaning] = max(seen.get(match.meaning, 0), weight)
    filled = len(cells)
    days = sum(is_day(cell) for cell in cells)
    if table == "home_log" and days >= LEAST_DAYS and seen:
        return sum(seen.values()) + LEAST_DAYS  # one column a day
    return sum(seen.values()) - 0.1 * max(filled - len(seen), 0) if seen else 0.0
