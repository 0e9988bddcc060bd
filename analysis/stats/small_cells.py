"""Which counts must not be shown, so that no family can be identified from a table?

Counts of 1 to 10 are hidden, and as many others as it takes so that none of them can be
calculated from the totals. Zero may be shown. Anything computed from a hidden count (a rate, a share,
a limit) is hidden with it by the caller.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

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


@dataclass(frozen=True)
class HiddenTable:
    """What to hide in a two-way table that is shown with its margins."""

    cells: BoolArray
    """Shape (rows, columns)."""
    row_totals: BoolArray
    column_totals: BoolArray
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
    values = np.append(given, given.sum())
    equation = np.append(np.ones(len(given)), -1.0)[None, :]
    hidden = _protected(values, equation, is_total=np.arange(len(values)) == len(given))
    return HiddenCounts(hidden[:-1], bool(hidden[-1]))


def hidden_table(counts: npt.ArrayLike) -> HiddenTable:
    """Which counts of a two-way table, and which of its totals, must be hidden.

    Parameters
    ----------
    counts : array_like of int, shape (rows, columns)
        Counts shown with the totals of rows and columns and the grand total.

    Returns
    -------
    HiddenTable
        Every count or total of 1 to 10, and as many others as it takes so that none of these can
        be calculated from all that is shown together.

    Raises
    ------
    ValueError
        Counts that are negative or not whole, or not a table.

    Notes
    -----
    Each hidden small count is checked by the least and the greatest value that agree with all that
    is shown (linear programmes), and another count is hidden while both are equal. Meant for
    tables of some dozens of cells.

    Source: as `hidden_counts`.

    Examples
    --------
    >>> found = hidden_table([[3, 20, 30], [25, 15, 40], [50, 60, 70]])
    >>> found.cells.tolist()
    [[True, True, False], [True, True, False], [False, False, False]]
    """
    given = whole_numbers(counts, "counts")
    if given.ndim != 2 or given.size == 0:
        raise ValueError(f"counts must be a table of rows and columns, but has shape {given.shape}")
    rows, columns = given.shape
    whole = np.zeros((rows + 1, columns + 1), np.int64)
    whole[:-1, :-1] = given
    whole[:-1, -1], whole[-1, :-1], whole[-1, -1] = given.sum(1), given.sum(0), given.sum()
    place = np.arange(whole.size).reshape(whole.shape)
    equations = np.zeros((rows + columns + 2, whole.size))
    for equation, line in zip(equations, [*place, *place.T], strict=True):
        equation[line] = 1.0
        equation[line[-1]] = -1.0
    is_total = np.zeros(whole.shape, np.bool_)
    is_total[-1], is_total[:, -1] = True, True
    hidden = _protected(whole.ravel(), equations, is_total.ravel()).reshape(whole.shape)
    return HiddenTable(hidden[:-1, :-1], hidden[:-1, -1], hidden[-1, :-1], bool(hidden[-1, -1]))


def _protected(
    values: IntArray, equations: npt.NDArray[np.float64], is_total: BoolArray
) -> BoolArray:
    """Hide small values, then others until no small one can be calculated.

    In every equation the values, with its signs, sum to 0.
    """
    small = (values >= SMALLEST_HIDDEN) & (values <= LARGEST_HIDDEN)
    hidden = small.copy()
    while (exposed := _worked_out(values, equations, hidden, small)) is not None:
        hidden[_next_to_hide(values, equations, hidden, is_total, exposed)] = True
    return hidden


def _next_to_hide(
    values: IntArray,
    equations: npt.NDArray[np.float64],
    hidden: BoolArray,
    is_total: BoolArray,
    exposed: int,
) -> int:
    """Return the shown value whose hiding helps most: no total if it can be, and a small one."""
    lines = equations != 0
    n_hidden = lines @ hidden.astype(np.int64)
    bare = n_hidden == 1
    # A line with one hidden value gives it away: fix the lines of the value exposed first.
    leaking = next(
        choice for choice in (bare & lines[:, exposed], bare, lines[:, exposed]) if choice.any()
    )
    helps = lines[leaking].any(axis=0)
    newly_bare = (n_hidden == 0) @ lines
    shown = np.flatnonzero(~hidden & (values > 0))
    order = np.lexsort((shown, values[shown], newly_bare[shown], is_total[shown], ~helps[shown]))
    return int(shown[order[0]])


def _worked_out(
    values: IntArray, equations: npt.NDArray[np.float64], hidden: BoolArray, small: BoolArray
) -> int | None:
    """Return the first small value that all that is shown leaves a single possibility for."""
    unknown = np.flatnonzero(hidden)
    if len(unknown) == 0:
        return None
    left = equations[:, unknown]
    right = -(equations[:, ~hidden] @ values[~hidden])
    for i in np.flatnonzero(small[unknown]):
        goal = np.zeros(len(unknown))
        goal[i] = 1.0
        # Zeros are shown, so anything hidden is 1 or more.
        least, greatest = (
            optimize.linprog(sign * goal, A_eq=left, b_eq=right, bounds=(1, None))
            for sign in (1, -1)
        )
        bounded = greatest.status == 0
        if bounded and round(-greatest.fun) <= round(least.fun):
            return int(unknown[i])
    return None
