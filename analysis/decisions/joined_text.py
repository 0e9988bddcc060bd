"""How are many short texts joined into one cell for each key?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc


def joined_by(keys: Mapping[str, pd.Series[Any]], texts: pd.Series[Any], mark: str) -> pd.DataFrame:
    """Join the different texts of each key in their order; blank texts are left out.

    Parameters
    ----------
    keys : mapping of name to Series
        What a joined text is made for.
    texts : Series
        Of the same length as each key.
    mark : str
        Put between two texts.

    Returns
    -------
    DataFrame
        One row a key, in order of its first text: the keys and ``joined``.

    Examples
    --------
    >>> joined_by({"of": pd.Series(["a", "b", "a"])}, pd.Series(["x", None, "y"]), "; ").values
    array([['a', 'x; y']], dtype=object)
    """
    # Before: one row a text; after: one row a key with its different texts.
    cells = {name: _strings(column) for name, column in {**keys, "joined": texts}.items()}
    rows = pa.table({**cells, "at": np.arange(len(texts))})
    rows = rows.filter(rows["joined"].is_valid())
    # Groups come in no certain order: the place of the first text in each gives it back.
    once = rows.group_by(list(cells), use_threads=False).aggregate([("at", "min")])
    once = once.sort_by("at_min")
    lists = once.group_by(list(keys), use_threads=False)
    lists = lists.aggregate([("joined", "list"), ("at_min", "min")]).sort_by("at_min_min")
    texts_of = lists["joined_list"].cast(pa.list_(pa.string()))
    columns = {name: lists[name] for name in keys} | {"joined": pc.binary_join(texts_of, mark)}
    return pd.DataFrame(
        {name: pd.array(cells.to_numpy(), dtype="string") for name, cells in columns.items()}
    )


def _strings(texts: pd.Series[Any]) -> pa.Array:
    return pa.array(texts.astype("string").array, type=pa.string())
