"""What do the cells of a column show about how a source writes dates, numbers and lists?"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from analysis.ingest.moments import DateOrder, DayNumbers

_DATE = re.compile(r"(\d{1,2})([/.\-])(\d{1,2})\2(\d{4}|\d\d)(?:$|[ T,])")
_YEAR_FIRST = re.compile(r"\d{4}[-/.]\d{1,2}([-/.]\d{1,2})?")
_DAY_NUMBER = re.compile(r"\d{5}(?:[.,]\d+)?\Z")
_CLOCK = re.compile(r"\d{1,2}:\d\d(?::\d\d(?:\.\d+)?)?\s?(?:[AaPp]\.?[Mm]\.?)?\Z")
_DECIMAL_COMMA = re.compile(r"[+-]?\d+(?:[. ’']\d{3})*,\d{1,2}\Z")
_DECIMAL_POINT = re.compile(r"[+-]?\d+(?:[, ’']\d{3})*\.\d{1,2}\Z")
MARKS = (";", ",", "\n", "/", "|", "+", "&")
"""What forms put between several answers in one cell."""
_SERIAL_DAYS = range(20_000, 80_000)
"""Numbers of days from 1954 to 2119: others are no dates."""


@dataclass(frozen=True)
class Dates:
    """How dates are written; `order` is None where days and months could be either way round."""

    order: DateOrder | None
    short_years: bool
    day_numbers: DayNumbers
    example: str = ""


def date_style(cells: Sequence[str]) -> Dates:
    """Find in which order dates are written: a number above 12 is a day.

    Examples
    --------
    >>> date_style(["3/4/2031", "25/4/2031"]).order, date_style(["3/4/2031"]).order
    (<DateOrder.DMY: 'dmy'>, None)
    """
    parts = [match for cell in cells if (match := _DATE.match(cell))]
    numbers = [cell for cell in cells if _DAY_NUMBER.match(cell)]
    are_days = bool(numbers) and all(int(cell[:5]) in _SERIAL_DAYS for cell in numbers)
    counted = DayNumbers.SYSTEM_1900 if are_days else DayNumbers.NONE
    short = any(len(match[4]) == 2 for match in parts)
    if not parts:
        return Dates(DateOrder.ISO, False, counted)
    first = any(int(match[1]) > 12 for match in parts)
    second = any(int(match[3]) > 12 for match in parts)
    if first == second:
        return Dates(None, short, counted, parts[0][0].rstrip(" T,"))
    return Dates(DateOrder.DMY if first else DateOrder.MDY, short, counted)


def is_day(cell: str) -> bool:
    """Whether a cell is a date in any order.

    Examples
    --------
    >>> is_day("3/4/2031"), is_day("2031-03-04"), is_day("Day 3")
    (True, True, False)
    """
    return _DATE.match(cell) is not None or _YEAR_FIRST.match(cell) is not None


def is_clock(cell: str) -> bool:
    """Whether a cell is a time of day alone."""
    return _CLOCK.match(cell) is not None


def decimal_mark(cells: Sequence[str]) -> str:
    """The mark before decimals; empty where the numbers are plain."""
    if any(_DECIMAL_COMMA.match(cell) for cell in cells):
        return ","
    if any("," in cell and _DECIMAL_POINT.match(cell) for cell in cells):
        return "."
    return ""


def split(cell: str, marks: Sequence[str]) -> list[str]:
    """Answers of a cell."""
    return re.split("|".join(map(re.escape, marks)), cell)


def separators(cells: Sequence[str], known: Collection[str]) -> tuple[str, ...]:
    """Marks between several answers, if they are not semicolons alone.

    A mark counts where it splits a cell into several answers of at most four words each.
    """
    found = Counter(
        mark
        for cell in cells
        for mark in MARKS
        if cell.casefold() not in known
        and len(parts := [p for p in cell.split(mark) if p.strip()]) > 1
        and all(len(part.split()) <= 4 for part in parts)
    )
    marks = tuple(mark for mark in MARKS if found[mark])
    return () if marks == (";",) else marks


def footer(rows: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Patterns of the last rows, if these have hardly a cell filled but the others have more."""
    filled = [[cell for cell in row if cell] for row in rows]
    usual = sorted(len(cells) for cells in filled if cells)
    if len(usual) < 3 or usual[len(usual) // 2] < 3:
        return ()
    patterns: list[str] = []
    for cells in reversed(filled[-5:]):
        if not cells:
            continue
        word = re.match(r"[^\W\d]{3,}", cells[0])
        if len(cells) > 2 or word is None:
            break
        patterns.insert(0, f"{word[0]}*")
    return tuple(dict.fromkeys(patterns))


def common_start(names: Sequence[str]) -> str:
    """What several sheet names begin with, up to the last space or dash."""
    first, last = min(names), max(names)
    equal = next(
        (at for at, pair in enumerate(zip(first, last, strict=False)) if len(set(pair)) > 1),
        len(first),
    )
    start = first[:equal]
    end = max(start.rfind(mark) for mark in " -_") + 1
    return start[:end]


def patterns(names: Sequence[str]) -> tuple[str, ...]:
    """A pattern for several sheet names that begin alike; else the names."""
    start = common_start(names)
    return (f"{start}*",) if start else tuple(names)
