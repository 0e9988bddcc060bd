"""What does a report hold, in every format?"""

from __future__ import annotations

import re
from dataclasses import dataclass

from analysis.definitions import Definition
from analysis.reports.drawing import Drawing
from analysis.vocabulary import Copy, Role
from analysis.words import CAUTIONS, HIDDEN, NOT_KNOWN

Row = tuple[str, ...]

_NUMBER = re.compile(
    r"(?:over |under )?[+\N{MINUS SIGN}-]?[\d.,\N{NARROW NO-BREAK SPACE}]+(?: ?%)?"
)
_NO_NUMBER = frozenset({"", NOT_KNOWN, HIDDEN})


COPY_WORDS = {
    Copy.TEAM: (
        "For the team only: names families by their codes or shows small counts. Do not pass it on."
    ),
    Copy.OUTSIDE: (
        "May leave the team: names no family. Counts from 1 to 10 are hidden, and so are numbers "
        "that would reveal one of them."
    ),
}


@dataclass(frozen=True)
class Table:
    """A table whose first column names the row."""

    label: str
    heads: Row
    rows: tuple[Row, ...]

    @property
    def of_digits(self) -> tuple[bool, ...]:
        """By column: it holds numbers, and nothing but numbers and marks for none."""
        columns = zip(*self.rows, strict=True) if self.rows else ((),) * len(self.heads)
        return tuple(
            any(map(_NUMBER.fullmatch, cells))
            and all(cell in _NO_NUMBER or _NUMBER.fullmatch(cell) for cell in cells)
            for cells in columns
        )


@dataclass(frozen=True)
class Figure:
    """A drawing, and what it shows in words."""

    drawing: Drawing
    caption: str


@dataclass(frozen=True)
class Part:
    """A question, its answer, and what the answer rests on."""

    title: str
    answer: str
    figure: Figure | None = None
    tables: tuple[Table, ...] = ()
    notes: tuple[str, ...] = ()
    explained: tuple[str, ...] = ()
    """Keys of the definitions of its numbers."""


@dataclass(frozen=True)
class Report:
    """A weekly summary or monthly report of one role."""

    role: Role
    copy: Copy
    title: str
    about: str
    brief: tuple[str, ...]
    """What to know first."""
    parts: tuple[Part, ...]
    basis: tuple[tuple[str, str], ...]
    """What it rests on: names and values."""
    definitions: tuple[Definition, ...]
    """Of the numbers it holds."""
    caveats: tuple[str, ...] = ()
    """What every list from these data has to show: see `Snapshot.caveats`."""
    cautions: tuple[str, ...] = CAUTIONS
