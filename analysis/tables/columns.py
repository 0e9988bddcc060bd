"""What is a column, and does a frame hold what its catalogue entry says?

A column is described once: name, kind, unit, meaning, what a blank means. The check at a
room's door, the data dictionary and the readers of files all use the same object.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import pandas as pd


class Kind(StrEnum):
    """What a cell holds, and so which pandas dtype carries it."""

    TEXT = "text"
    CODE = "code"
    CODES = "codes"
    DATE = "date"
    MONTH = "month"
    INSTANT = "instant"
    COUNT = "count"
    NUMBER = "number"
    FLAG = "flag"


DTYPES: Mapping[Kind, str] = {
    Kind.TEXT: "string",
    Kind.CODE: "category",
    Kind.CODES: "string",
    Kind.DATE: "datetime64[s]",
    Kind.MONTH: "datetime64[s]",
    Kind.INSTANT: "datetime64[us]",
    Kind.COUNT: "Int64",
    Kind.NUMBER: "float64",
    Kind.FLAG: "bool",
}
"""Dtype of each kind. CODES is text joined by ``;``. MONTH is the month's first day. INSTANT is
UTC without an offset. A COUNT that is never blank is plain ``int64``."""


class FrameError(Exception):
    """A frame is not what its catalogue entry says: a fault of the program, not of a user."""


@dataclass(frozen=True)
class Column:
    """One column: `blank` says what a missing value means; None: it is never missing."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    blank: str | None = None
    allowed: tuple[str, ...] = ()
    low: int | None = None
    high: int | None = None
    required: bool = False
    """In files that come in: a row without it is refused."""

    @property
    def dtype(self) -> Any:
        """The pandas dtype that carries the column."""
        if self.kind is Kind.COUNT and self.blank is None:
            return "int64"
        return DTYPES[self.kind]


@dataclass(frozen=True)
class Frame:
    """A catalogue entry: what one row is, its columns and the columns that name a row."""

    name: str
    grain: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> Column:
        """Return the column of that name."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)

    @property
    def names(self) -> list[str]:
        """Column names in order."""
        return [c.name for c in self.columns]

    def empty(self) -> pd.DataFrame:
        """A frame of this entry without rows."""
        return pd.DataFrame({c.name: pd.Series([], dtype=c.dtype) for c in self.columns})

    def check(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the frame's catalogued columns in order.

        Raises
        ------
        FrameError
            Columns missing, of another dtype, blank where never blank, or a key not unique.
        """
        faults = []
        for column in self.columns:
            if column.name not in frame.columns:
                faults.append(f"{column.name} is missing")
                continue
            values = frame[column.name]
            if str(values.dtype) != column.dtype:
                faults.append(f"{column.name} is {values.dtype}, not {column.dtype}")
            elif column.blank is None and values.isna().any():
                faults.append(f"{column.name} has blanks")
        if not faults and self.key and frame.duplicated(list(self.key)).any():
            faults.append(f"{', '.join(self.key)} is not unique")
        if faults:
            raise FrameError(f"frame {self.name}: " + "; ".join(faults))
        return frame.loc[:, self.names]

    def build(self, values: Mapping[str, Iterable[object]]) -> pd.DataFrame:
        """Make a frame of this entry from columns of plain values; absent columns are blank.

        Examples
        --------
        >>> entry = Frame("visits", "one row a visit", (Column("on", Kind.DATE, "day"),))
        >>> entry.build({"on": ["2031-03-01"]}).dtypes["on"]
        dtype('<M8[s]')
        """
        given = {name: list(cells) for name, cells in values.items()}
        length = max((len(cells) for cells in given.values()), default=0)
        out = {}
        for column in self.columns:
            cells = given.get(column.name, [None] * length)
            if column.kind in {Kind.DATE, Kind.MONTH, Kind.INSTANT}:
                moments = pd.to_datetime(pd.Series(cells, dtype="object"))
                out[column.name] = moments.astype(column.dtype)
            else:
                out[column.name] = pd.Series(cells, dtype="object").astype(column.dtype)
        return self.check(pd.DataFrame(out))
