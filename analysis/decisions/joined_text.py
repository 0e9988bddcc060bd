"""How are many short texts joined into one cell for each key?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

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
    rows = pd.DataFrame({**keys, "joined": texts}).astype("string").dropna(subset="joined")
    table = pa.Table.from_pandas(rows.drop_duplicates(), preserve_index=False)
    lists = table.group_by(list(keys), use_threads=False).aggregate([("joined", "list")])
    columns = {name: lists[name].to_pandas() for name in keys}
    texts_of = lists["joined_list"].cast(pa.list_(pa.string()))
    return pd.DataFrame({**columns, "joined": pc.binary_join(texts_of, mark).to_pandas()}).astype(
        "string"
    )
