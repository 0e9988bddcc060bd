"""Small looks into frames: rows of one family, cells as plain values, days as dates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from copy import copy
from datetime import date
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from pandas.api.types import union_categoricals

from analysis.tables.codes import cells_at, places_of, rows_at

FEW = 20
"""Rows up to which it is quicker to look at each cell."""
MOST_ADDED = 50_000
"""Rows that are found next to the index at most; of more it is made again."""


def of(frame: pd.DataFrame, column: str, value: str) -> pd.DataFrame:
    """Rows in which a column holds a value, numbered from 0."""
    return rows_at(frame, places_of(frame[column], value)).reset_index(drop=True)


def cells_of(frame: pd.DataFrame, column: str, value: str, *names: str) -> list[tuple[Any, ...]]:
    """Columns of these rows as `plain_cells` gives them."""
    return plain_cells_at(frame, places_of(frame[column], value), *names)


class RowsBy:
    """Rows of a large frame by the code in one column, found without reading all of them.

    Examples
    --------
    >>> log = RowsBy(pd.DataFrame({"who": ["a", "b", "a"], "n": [1, 2, 3]}), "who")
    >>> list(log["a"]["n"]), list(log["z"]["n"])
    ([1, 3], [])
    """

    def __init__(self, frame: pd.DataFrame, column: str) -> None:
        codes, known = pd.factorize(frame[column], use_na_sentinel=True)
        self._frame, self._column = frame, column
        self._number = frame["row"].to_numpy() if "row" in frame else np.arange(len(frame))
        self._added: tuple[int, RowsBy] | None = None
        self._order = np.argsort(codes, kind="stable")
        self._ends = np.searchsorted(codes[self._order], np.arange(len(known) + 1))
        self._at = {str(code): at for at, code in enumerate(known)}

    def __getitem__(self, code: str) -> pd.DataFrame:
        """Rows with the code, in the frame's order, numbered from 0."""
        return rows_at(self._frame, self.places(code)).reset_index(drop=True)

    def places(self, *codes: str) -> npt.NDArray[np.intp]:
        """Positions in the frame of the rows with any of the codes, ascending."""
        found = [self._places(code) for code in codes]
        return np.sort(np.concatenate([np.empty(0, dtype=np.intp), *found]))

    def _places(self, code: str) -> npt.NDArray[np.intp]:
        at = self._at.get(code)
        rows = self._order[:0] if at is None else self._order[self._ends[at] : self._ends[at + 1]]
        if self._added is None:
            return rows
        # A row that went is no longer where its number would be.
        number, now = self._number[rows], self._frame["row"].to_numpy()
        place = np.searchsorted(now, number)
        place = place[now[np.minimum(place, len(now) - 1)] == number]
        first, added = self._added
        return np.concatenate([place, first + added.places(code)])

    def after(self, frame: pd.DataFrame) -> RowsBy:
        """The same of the frame after some rows of it went and others came at its end."""
        last = self._number[-1] if len(self._number) else 0
        came = int(np.searchsorted(frame["row"].to_numpy(), last, side="right"))
        if len(frame) - came > MOST_ADDED or not came:
            return RowsBy(frame, self._column)
        found = copy(self)
        found._frame = frame
        found._added = came, RowsBy(frame.iloc[came:], self._column)
        return found


def places_of_lines(spans: pd.DataFrame, lines: Sequence[int]) -> npt.NDArray[np.intp]:
    """Positions of the rows of some lines in a frame of the timeline, which is in order of task and line.

    Examples
    --------
    >>> home_periods = pd.DataFrame({"line": [0, 0, 1, 3, 3]})
    >>> places_of_lines(home_periods, [3, 0]).tolist()
    [0, 1, 3, 4]
    """
    line, cuts = spans["line"].to_numpy(), [0, len(spans)]
    if "task" in spans:
        task = spans["task"].array
        cuts = np.searchsorted(task.codes, np.arange(len(task.categories) + 1)).tolist()
    places = [np.empty(0, dtype=np.intp)]
    for first, end in pairwise(cuts):
        for one in sorted(lines):
            start, stop = np.searchsorted(line[first:end], [one, one + 1])
            places.append(np.arange(first + start, first + stop))
    return np.concatenate(places)


def stacked(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Frames of the same columns one below the other; codes of any of them are kept.

    Examples
    --------
    >>> some, more = (pd.DataFrame({"a": pd.Categorical([a])}) for a in "xy")
    >>> list(stacked([some, more, more.iloc[:0]])["a"])
    ['x', 'y']
    """
    filled = [frame for frame in frames if len(frame)] or list(frames[:1])
    first = filled[0]
    if len(filled) == 1:
        return first.reset_index(drop=True)
    kinds: dict[str, Any] = dict(first.dtypes)
    for name, kind in kinds.items():
        if isinstance(kind, pd.CategoricalDtype):
            known = union_categoricals([f[name] for f in filled], ignore_order=True).categories
            kinds[name] = pd.CategoricalDtype(known)
    return pd.concat([frame[list(kinds)].astype(kinds) for frame in filled], ignore_index=True)


def cells(frame: pd.DataFrame, *names: str) -> list[tuple[Any, ...]]:
    """Rows of the named columns as plain values, missing ones as None.

    Examples
    --------
    >>> cells(pd.DataFrame({"a": [1, 2], "b": ["x", None]}), "b", "a")
    [('x', 1), (None, 2)]
    """
    columns: list[Any] = []
    for name in names:
        if len(frame) <= FEW:  # a page looks at many frames of one family
            columns.append([None if pd.isna(cell) else cell for cell in frame[name].tolist()])
            continue
        column = frame[name].astype("object").to_numpy(copy=True)
        column[frame[name].isna().to_numpy(dtype=bool)] = None
        columns.append(column)
    return list(zip(*columns, strict=True))


def plain_cells(frame: pd.DataFrame, *names: str) -> list[tuple[Any, ...]]:
    """Rows of the named columns as plain values: dates as `date`, moments as `datetime`, missing ones as None.

    Examples
    --------
    >>> days = pd.Series(["2031-03-01", None], dtype="datetime64[s]")
    >>> plain_cells(pd.DataFrame({"on": days, "n": [1, 2]}), "n", "on")
    [(1, datetime.date(2031, 3, 1)), (2, None)]
    """
    return list(zip(*(_plain(frame[name].array) for name in names), strict=True))


def plain_cells_at(
    frame: pd.DataFrame, at: npt.NDArray[np.intp], *names: str
) -> list[tuple[Any, ...]]:
    """The same of few rows of a long frame, by their ascending positions."""
    return list(zip(*(_plain(cells_at(frame[name].array, at)) for name in names), strict=True))


def _plain(column: Any) -> list[Any]:
    kind = column.dtype
    if isinstance(column, pd.arrays.ArrowStringArray):
        return column.__arrow_array__().to_pylist()
    if isinstance(kind, pd.CategoricalDtype):
        words = [*kind.categories.tolist(), None]  # a missing one has the code -1
        return [words[code] for code in column.codes.tolist()]
    if isinstance(kind, np.dtype) and kind.kind == "M":
        is_date = kind == np.dtype("datetime64[s]")
        return column.to_numpy().astype("datetime64[D]" if is_date else kind).tolist()
    if isinstance(kind, np.dtype) and kind.kind in "bi":
        return column.to_numpy().tolist()
    return column.to_numpy(dtype=object, na_value=None).tolist()


def day(moment: Any) -> date | None:
    """Date of a timestamp; None where it is missing."""
    return None if moment is None or pd.isna(moment) else moment.date()


def is_one(values: pd.Series[Any], wanted: str | None) -> pd.Series[bool]:
    """Whether each value is the wanted one; True throughout when none is wanted."""
    if wanted is None:
        return pd.Series(data=True, index=values.index)
    return (values == wanted).fillna(value=False).astype(bool)


def distinct(values: pd.Series[Any]) -> tuple[str, ...]:
    """Values that occur, without the missing, in the order of `natural`."""
    return tuple(sorted((str(v) for v in values.dropna().unique()), key=natural))


def natural(code: str) -> str:
    """What codes are sorted by so that N2 comes before N10, as people do.

    Examples
    --------
    >>> sorted(["N10", "N2", "N1-2"], key=natural)
    ['N1-2', 'N2', 'N10']
    """
    return re.sub(r"\d+", lambda digits: digits[0].lstrip("0").zfill(12), code)


def codes(text: str | None) -> tuple[str, ...]:
    """Codes of a text joined by ``;``."""
    return tuple(c for c in (text or "").split(";") if c)
