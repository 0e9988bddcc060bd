"""Which rows of a batch can't be used, and which cells are at fault?"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import numpy.typing as npt

from analysis.ingest.reasons import Refusal

Mask = npt.NDArray[np.bool_]

REASONS = tuple(Refusal)
_AT = {reason: at for at, reason in enumerate(REASONS)}


class Faults:
    """The first fault of each row; of later ones those of other columns are kept as `further`.

    Rows that void their key may be `excused`: faults outside the named columns are then
    ignored, because such a row needs only its key.

    Attributes
    ----------
    reason : int8 array, shape (n,)
        -1 (usable) or a position in `REASONS`.
    column : int16 array, shape (n,)
        -1 (the row as a whole) or a position in `columns`.
    columns : list of str
        Columns, or heads of the source, in which a fault was found.
    shown : dict of int to str
        What to show as the value of a row's fault where it is not the cell itself.
    further : list of (str, Refusal, bool array)
        Later faults: column, reason and rows, in the order in which they were found.
    """

    def __init__(self, n: int) -> None:
        self.reason = np.full(n, -1, np.int8)
        self.column = np.full(n, -1, np.int16)
        self.columns: list[str] = []
        self.shown: dict[int, str] = {}
        self.further: list[tuple[str, Refusal, Mask]] = []
        self._excused: Mask = np.zeros(n, np.bool_)
        self._needed: Collection[str] = ()

    def excuse(self, rows: Mask, needed: Collection[str]) -> None:
        """Ignore further faults of these rows, except in the needed columns."""
        self._excused, self._needed = rows, needed

    def mark(self, where: Mask, column: str | None, reason: Refusal) -> None:
        """Note a fault of some rows."""
        if column is not None and column not in self._needed:
            where = where & ~self._excused
        if not where.any():
            return
        new = where & (self.reason < 0)
        self._mark_further(where & ~new, column, reason)
        if not new.any():
            return
        self.reason[new] = _AT[reason]
        if column is not None:
            if column not in self.columns:
                self.columns.append(column)
            self.column[new] = self.columns.index(column)

    def _mark_further(self, rows: Mask, column: str | None, reason: Refusal) -> None:
        """Note a later fault, of rows whose cells are in their places and that is of a new column."""
        if column is None or not rows.any():
            return
        rows &= self.reason != _AT[Refusal.RAGGED_ROW]
        if column in self.columns:
            rows &= self.column != self.columns.index(column)
        for other, _, known in self.further:
            if other == column:
                rows &= ~known
        if rows.any():
            self.further.append((column, reason, rows))

    def mark_row(self, row: int, column: str | None, reason: Refusal, shown: str) -> None:
        """Note a fault of one row and what to show as its value."""
        where = np.zeros(len(self.reason), np.bool_)
        where[row] = True
        free = self.reason[row] < 0
        self.mark(where, column, reason)
        if free and self.reason[row] >= 0:
            self.shown[row] = shown

    @property
    def usable(self) -> Mask:
        """Rows without a fault."""
        return self.reason < 0


class Doubts:
    """What is odd about the usable rows of a batch: `found` is each code and its rows, in order."""

    def __init__(self, n: int) -> None:
        self.found: list[tuple[str, Mask]] = []
        self._n = n

    def mark(self, where: Mask, doubt: str) -> None:
        """Note a doubt."""
        if where.any():
            self.found.append((str(doubt), where))

    def texts(self) -> npt.NDArray[np.object_]:
        """Codes of each row joined by ``;``, None where there is no doubt; shape (n,)."""
        texts: npt.NDArray[np.object_] = np.full(self._n, None, dtype=object)
        for doubt, where in self.found:
            rows = np.flatnonzero(where)
            texts[rows] = [doubt if t is None else f"{t};{doubt}" for t in texts[rows]]
        return texts
