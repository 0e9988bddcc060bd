"""Which values of a column are held by so few children that they would point at one?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analysis.stats.small_cells import LARGEST_HIDDEN

HIDDEN = "hidden"
"""Takes the place of a rare value."""


def rare_values(
    children: pd.Series[Any], values: pd.Series[Any], reads_hidden: str | None = None
) -> frozenset[str]:
    """Values to be hidden, rarest first, until `HIDDEN` stands for more than ten children.

    Parameters
    ----------
    children : Series
        Child of each row.
    values : Series of text
        What the row holds; none missing.
    reads_hidden : str, optional
        A value that can't be distinguished from a hidden one, so that its children count with those.

    Returns
    -------
    frozenset of str
        Every value of 1 to 10 children and, where these are together no more than ten children,
        the next rarest ones. Empty: no value is rare.

    Notes
    -----
    *Source:* the cells that are hidden are those of `stats.small_cells`; that the hidden ones are
    joined is a choice of this project.

    Examples
    --------
    >>> child = pd.Series(range(40))
    >>> value = pd.Series(["a"] * 22 + ["b"] * 15 + ["c"] * 3)
    >>> sorted(rare_values(child, value))
    ['b', 'c']
    >>> sorted(rare_values(child, value, reads_hidden="b"))
    ['c']
    """
    held = pd.DataFrame({"child": children.to_numpy(), "value": values.to_numpy()})
    held = held.drop_duplicates()
    counts = held["value"].value_counts().rename_axis("value").reset_index(name="children")
    counts["told"] = counts["value"] != reads_hidden
    counts = counts.sort_values(["told", "children", "value"], ignore_index=True)
    n_rare = int((counts["told"] & (counts["children"] <= LARGEST_HIDDEN)).sum())
    if n_rare == 0:
        return frozenset()
    n_rare += int((~counts["told"]).sum())
    # before: one row a child and value; after: the rank of the child's rarest value
    rank = held["value"].map(pd.Series(counts.index, index=counts["value"]))
    first = rank.groupby(held["child"]).min()
    joined = np.cumsum(np.bincount(first, minlength=len(counts)))
    enough = int(np.searchsorted(joined, LARGEST_HIDDEN, side="right")) + 1
    return frozenset(counts["value"].iloc[: max(n_rare, enough)]) - {reads_hidden}
