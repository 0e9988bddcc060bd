"""What are the columns of a frame, and does a frame hold what its catalogue entry requires?

A frame names fields of the catalogue and states its grain: what one row is, which columns name
it and what a blank means in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from dataclasses import fields as parts_of
from functools import cached_property
from typing import Any, Self

import numpy as np
import pandas as pd

from analysis.tables.fields import field_of
from analysis.tables.kinds import DTYPES, Field, Kind

_ROUNDING = 1e-9
"""By how much a calculated number may pass its limit."""


class FrameError(Exception):
    """A frame is not what its catalogue entry requires: a fault of the program, not of a user."""


class UnknownWordError(FrameError):
    """A frame holds a word that this version of the program does not know; `words` names it."""

    def __init__(self, frame: str, words: str) -> None:
        super().__init__(f"frame {frame}: {words}")
        self.words = words


@dataclass(frozen=True)
class Column(Field):
    """A field in a frame: `blank` states what a missing value means; None: it is never missing."""

    blank: str | None = None
    required: bool = False
    """In files that come in: a row without it is refused."""
    coded: bool = False
    """Few texts in many rows, each held once: a category."""

    @classmethod
    def of(
        cls, field: Field, *, blank: str | None = None, required: bool = False, detail: str = ""
    ) -> Self:
        """Put a field into a frame; `detail` names which of several it is there."""
        same = {part.name: getattr(field, part.name) for part in parts_of(Field)}
        if detail:
            same["meaning"] = f"{field.meaning} ({detail})"
        return cls(**same, blank=blank, required=required)

    @property
    def dtype(self) -> Any:
        """The pandas dtype that carries the column."""
        if self.coded:
            return DTYPES[Kind.CODE]
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

    @classmethod
    def of(
        cls,
        name: str,
        grain: str,
        fields: str,
        *,
        key: str = "",
        blank: Mapping[str, str] | None = None,
        detail: Mapping[str, str] | None = None,
        allowed: Mapping[str, tuple[str, ...]] | None = None,
        required: str = "",
        otherwise: str | None = None,
        coded: str = "",
    ) -> Self:
        """Make a frame of fields of the catalogue; several names are separated by spaces.

        Parameters
        ----------
        name, grain : str
            Name of the frame and what one row is.
        fields : str
            Names of its columns, in order.
        key : str
            Columns that name a row.
        blank : mapping of str to str, optional
            What a missing value means, by columns; other columns are never missing.
        detail : mapping of str to str, optional
            Which of several a column is in this frame, by columns; added to the field's meaning.
        allowed : mapping of str to tuple of str, optional
            The words of a column of which the frame holds only some, in their order here.
        required : str
            Columns without which a row of a file is refused.
        otherwise : str, optional
            What a missing value means in every other column that is not required.
        coded : str
            Columns of few texts in many rows: `Column.coded`.

        Raises
        ------
        KeyError
            A name is not in the catalogue of fields.

        Examples
        --------
        >>> Frame.of("visits", "one row a visit", "line_id placed_on", key="line_id").names
        ['line_id', 'placed_on']
        """
        blanks, details, needed = _by_name(blank), _by_name(detail), required.split()
        columns = []
        for each in fields.split():
            means = blanks.get(each, None if each in needed else otherwise)
            column = Column.of(
                field_of(each, name),
                blank=means,
                required=each in needed,
                detail=details.get(each, ""),
            )
            words = (allowed or {}).get(each, column.allowed)
            columns.append(replace(column, allowed=words, coded=each in coded.split()))
        return cls(name, grain, tuple(columns), tuple(key.split()))

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
        return self._without_rows.copy(deep=False)

    @cached_property
    def _without_rows(self) -> pd.DataFrame:
        return pd.DataFrame({c.name: pd.Series([], dtype=c.dtype) for c in self.columns})

    def check(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the frame's catalogued columns in order.

        Raises
        ------
        FrameError
            Columns missing, of another dtype, blank where never blank, with a word that is not
            allowed or a number outside its limits, or a key not unique.
        """
        faults, words = [], []
        for column in self.columns:
            if column.name not in frame.columns:
                faults.append(f"{column.name} is missing")
                continue
            values = frame[column.name]
            faults += _faults(values, column)
            if column.allowed and str(values.dtype) == column.dtype:
                others = _not_allowed(values, frozenset(map(str, column.allowed)))
                words += [f"{column.name} holds {other}" for other in others]
        if (
            not faults
            and self.key
            and not _is_increasing(frame[self.key[0]])
            and (frame.duplicated(list(self.key)).any())
        ):
            faults.append(f"{', '.join(self.key)} is not unique")
        if faults:
            raise FrameError(f"frame {self.name}: " + "; ".join([*faults, *words]))
        if words:
            raise UnknownWordError(self.name, "; ".join(words))
        in_order = list(frame.columns) == self.names
        return frame.copy(deep=False) if in_order else frame.loc[:, self.names]

    def build(self, values: Mapping[str, Iterable[object]]) -> pd.DataFrame:
        """Make a frame of this entry from columns of plain values; absent columns are blank.

        Examples
        --------
        >>> entry = Frame.of("visits", "one row a visit", "placed_on")
        >>> entry.build({"placed_on": ["2031-03-01"]}).dtypes["placed_on"]
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


def _is_increasing(values: pd.Series[Any]) -> bool:
    """Whether values are numbers of which each is higher than the one before it: unique at a glance."""
    return values.dtype == np.int64 and bool((np.diff(values.to_numpy()) > 0).all())


def _by_name(texts: Mapping[str, str] | None) -> dict[str, str]:
    """The text of each name, from those of several names separated by spaces."""
    return {name: text for names, text in (texts or {}).items() for name in names.split()}


def _faults(values: pd.Series[Any], column: Column) -> list[str]:
    if str(values.dtype) != column.dtype:
        return [f"{column.name} is {values.dtype}, not {column.dtype}"]
    faults, cells = [], values.array  # a Series takes ten times as long for few rows
    if column.blank is None and cells.isna().any():
        faults.append(f"{column.name} has blanks")
    if column.kind in {Kind.COUNT, Kind.NUMBER} and len(cells):
        if column.low is not None and (cells < column.low - _ROUNDING).any():
            faults.append(f"{column.name} is below {column.low}")
        if column.high is not None and (cells > column.high + _ROUNDING).any():
            faults.append(f"{column.name} is above {column.high}")
    return faults


def _not_allowed(values: pd.Series[Any], allowed: frozenset[str]) -> list[str]:
    """Words in the cells that are not allowed; of a category only when a row holds it."""
    dtype = values.dtype
    if not isinstance(dtype, pd.CategoricalDtype):
        return sorted(str(word) for word in values.dropna().unique() if str(word) not in allowed)
    others = [str(word) for word in dtype.categories if str(word) not in allowed]
    if others:
        used = set(values.cat.remove_unused_categories().cat.categories.astype(str))
        others = [word for word in others if word in used]
    return sorted(others)
