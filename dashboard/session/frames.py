"""Small looks into frames: rows of one family, cells as plain values, days as dates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from copy import copy
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import union_categoricals

from analysis.tables.codes import rows_at

FEW = 20
"""Rows up to which it is quicker to look at each cell."""
MOST_ADDED = 50_000
"""Rows that are found next to the index at most; of more it is made again."""


def of(frame: pd.DataFrame, column: str, value: str) -> pd.DataFrame:
    """Rows in which a column holds a value, numbered from 0."""
    same = (frame[column] == value).to_numpy(dtype=bool, na_value=False)
    return frame[same].reset_index(drop=True)


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
        self._added: RowsBy | None = None
        self._order = np.argsort(codes, kind="stable")
        self._ends = np.searchsorted(codes[self._order], np.arange(len(known) + 1))
        self._at = {str(code): at for at, code in enumerate(known)}

    def __getitem__(self, code: str) -> pd.DataFrame:
        """Rows with the code, in the frame's order, numbered from 0."""
        at = self._at.get(code)
        rows = self._order[:0] if at is None else self._order[self._ends[at] : self._ends[at + 1]]
        if self._added is None:
            return rows_at(self._frame, rows).reset_index(drop=True)
        # A row that went is no longer where its number would be.
        number, now = self._number[rows], self._frame["row"].to_numpy()
        place = np.searchsorted(now, number)
        place = place[now[np.minimum(place, len(now) - 1)] == number]
        return stacked([rows_at(self._frame, place), self._added[code]])

    def after(self, frame: pd.DataFrame) -> RowsBy:
        """The same of the frame after some rows of it went and others came at its end."""
        last = self._number[-1] if len(self._number) else 0
        came = int(np.searchsorted(frame["row"].to_numpy(), last, side="right"))
        if len(frame) - came > MOST_ADDED or not came:
            return RowsBy(frame, self._column)
        found = copy(self)
        found._frame, found._added = frame, RowsBy(frame.iloc[came:], self._column)
        return found


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
