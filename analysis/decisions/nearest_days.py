"""Which event of the same person or line is the newest by a day, or the first after it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
_DAY_BITS = 32
_FIRST_DAY = 1 << (_DAY_BITS - 1)
"""Added to a day since 1970, so that none is negative."""


@dataclass(frozen=True)
class NearestDays:
    """Events in order of whose they are, their day and their stored row."""

    order: Ints
    """Position of each event as it was given."""
    key: Ints

    @classmethod
    def of(cls, whose: Ints, day: Ints, row: Ints) -> NearestDays:
        """Put events in order; `whose` is a number from 0, or -1: nobody's.

        Examples
        --------
        >>> shown = NearestDays.of(np.array([0, 0, 1]), np.array([5, 9, 7]), np.array([1, 2, 3]))
        >>> shown.newest_by(np.array([0, 0, 1]), np.array([8, 4, 7])).tolist()
        [0, -1, 2]
        >>> shown.first_after(np.array([0, 0, 1]), np.array([5, 5, 7]), 3).tolist()
        [-1, -1, -1]
        >>> shown.first_after(np.array([0]), np.array([5]), 4).tolist()
        [1]
        """
        order = np.lexsort((row, day, whose))
        order = order[whose[order] >= 0]
        return cls(order, _packed(whose[order], day[order]))

    def newest_by(self, whose: Ints, day: Ints) -> Ints:
        """Position of the newest event up to each day, of one day that of the last row; -1: none."""
        asked = _packed(whose, day)
        at = np.searchsorted(self.key, asked, side="right") - 1
        return self._where(at, (at >= 0), asked, whose)

    def first_after(self, whose: Ints, day: Ints, within: int) -> Ints:
        """Position of the first event on the days after each, of one day that of the first row.

        -1: none within so many days.
        """
        asked = _packed(whose, day)
        at = np.searchsorted(self.key, asked, side="right")
        return self._where(at, at < len(self.key), asked, whose, within)

    def _where(
        self,
        at: Ints,
        exists: npt.NDArray[np.bool_],
        asked: Ints,
        whose: Ints,
        within: int | None = None,
    ) -> Ints:
        found = np.full(len(at), -1, dtype=np.int64)
        key = self.key[at[exists]]
        own = (key >> _DAY_BITS) == whose[exists]
        if within is not None:
            own &= key - asked[exists] <= within
        found[np.flatnonzero(exists)[own]] = self.order[at[exists][own]]
        return found


def _packed(whose: Ints, day: Ints) -> Ints:
    return (whose << _DAY_BITS) + day + _FIRST_DAY
