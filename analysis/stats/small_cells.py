"""Which counts must not be shown, so that no family can be identified from a table?

Counts of 1 to 10 are hidden, and as many others as it takes so that none of them can be
calculated from the totals. Zero may be shown. Anything computed from a hidden count (a rate, a share,
a limit) is hidden with it by the caller.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.charts import BoolArray
from analysis.stats.inputs import IntArray, whole_numbers

SMALLEST_HIDDEN = 1
LARGEST_HIDDEN = 10


@dataclass(frozen=True)
class HiddenCounts:
    """What to hide in a list of counts that is shown with its total."""

    counts: BoolArray
    """Shape (groups,)."""
    total: bool


def hidden_counts(counts: npt.ArrayLike) -> HiddenCounts:
    """Which counts of a list, and whether its total, must be hidden.

    Parameters
    ----------
    counts : array_like of int, shape (groups,)
        Counts shown with their total.

    Returns
    -------
    HiddenCounts
        Every count of 1 to 10; where one of them could be calculated from the rest, the smallest
        other count that is not 0 as well, the total last.

    Raises
    ------
    ValueError
        Counts that are negative or not whole.

    Notes
    -----
    Source: rule of the US Centers for Medicare & Medicaid Services on cell sizes: counts of 1 to
    10, and values from which one can be derived, are not shown; zero may be.

    Examples
    --------
    >>> found = hidden_counts([4, 25, 0, 12])
    >>> found.counts.tolist(), found.total
    ([True, False, False, True], False)
    """
    given = whole_numbers(np.atleast_1d(counts), "counts")
    total = int(given.sum())
    hidden = _is_small(given)
    hides_total = bool(_is_small(np.array([total]))[0])
    # A reader of the total knows the sum of the hidden counts, and that each is 1 or more.
    while not hides_total and hidden.any() and _sum_gives_one_away(given[hidden]):
        shown = np.flatnonzero(~hidden & (given > 0))
        if len(shown):
            hidden[shown[np.argmin(given[shown])]] = True
        else:
            hides_total = True
    return HiddenCounts(hidden, hides_total)


def _is_small(counts: IntArray) -> BoolArray:
    return (counts >= SMALLEST_HIDDEN) & (counts <= LARGEST_HIDDEN)


def _sum_gives_one_away(hidden: IntArray) -> bool:
    """Whether only one list of counts of 1 or more has the sum of the hidden ones."""
    return len(hidden) == 1 or int(hidden.sum()) == len(hidden)
