"""What does a clinic's own sheet or form look like, and how is it turned into our columns?

A source profile is a TOML file. It sets in which order dates are written, which of their
heads is which of our columns, which of their words is which of our codes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatch
from types import MappingProxyType
from typing import Any

from analysis.ingest.moments import ISO_STYLE, DateStyle

ENCODINGS = ("utf-8", "cp1252", "latin-1")
YES = ("yes", "y", "x", "1", "true")
NO = ("no", "n", "0", "false")

SHEET_COLUMN = re.compile(r"\{([a-z_]+)\}")
"""The column in a pattern of sheet names."""

_EMPTY: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class Tick:
    """One of their columns that means one code: ticked or not."""

    column: str
    head: str
    code: str
    yes: frozenset[str]
    no: frozenset[str]


@dataclass(frozen=True)
class TableProfile:
    """How one table looks in a source; words in `values` are in small letters."""

    names: tuple[str, ...] = ()
    header: tuple[str, ...] = ()
    """All heads of the sheet, by which a file of the source is recognised; empty: not recorded."""
    skip_rows: int = 0
    head_rows: int = 1
    heads: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    fixed: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: _EMPTY)
    ticks: tuple[Tick, ...] = ()
    separators: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: _EMPTY)
    """What is between the codes of a list column."""
    times: Mapping[str, str] = field(default_factory=lambda: _EMPTY)
    """Their head with the time of day of a moment, by the column of the moment."""
    sheet_name: str = ""
    """What the sheet's name holds, such as ``Family {family_id}``."""
    footer: tuple[str, ...] = ()
    """How the first cell of a row begins or ends that is no row of the table, with ``*``."""

    day_columns: str = ""
    """The column that the cells below the days hold, in a sheet with one column a day."""
    resource: tuple[str, ...] = ()
    """Types of FHIR resources that are its rows; then its heads are FHIRPath expressions."""
    where: str = ""
    """FHIRPath condition on these resources; empty: all of them."""
    moment: str = ""
    """The column that a day in the head of a column is, where there are such."""

    @property
    def list_separators(self) -> Mapping[str, re.Pattern[str]]:
        """What splits the cells of each list column."""
        return {
            column: re.compile("|".join(re.escape(mark.casefold()) for mark in marks))
            for column, marks in self.separators.items()
        }

    @property
    def of_sheet_name(self) -> str | None:
        """The column that the sheet's name fills, if there is one."""
        found = SHEET_COLUMN.search(self.sheet_name)
        return found[1] if found else None

    @property
    def filled(self) -> frozenset[str]:
        """Columns that are filled without a head of their own."""
        given = {*self.fixed, self.of_sheet_name, self.day_columns, self.moment}
        return frozenset(column for column in given if column)


@dataclass(frozen=True)
class Profile:
    """How a source writes; without a profile everything is as on the formats page."""

    name: str = ""
    dates: DateStyle = ISO_STYLE
    decimal_mark: str = ""
    """Mark before the decimals of a number; then thousands may be marked too."""
    time_zone: str | None = None
    encoding: str = "utf-8"
    tables: Mapping[str, TableProfile] = field(default_factory=lambda: _EMPTY)

    def table(self, name: str) -> TableProfile:
        """How a table looks in this source."""
        return self.tables.get(name, TableProfile())

    @property
    def resources(self) -> frozenset[str]:
        """Types of FHIR resources that it reads."""
        return frozenset(name for looks in self.tables.values() for name in looks.resource)

    def tables_named(self, name: str) -> list[str]:
        """Tables whose name patterns fit a sheet or file name."""
        return [
            table
            for table, looks in self.tables.items()
            if any(fnmatch(name.casefold(), pattern.casefold()) for pattern in looks.names)
        ]
