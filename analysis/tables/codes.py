"""Which codes of a column are among others, and where?"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc


def is_among(codes: pd.Series[Any], others: Any) -> npt.NDArray[np.bool_]:
    """Mark the codes that are among others, as `Series.isin` but without a Python object for each.

    Parameters
    ----------
    codes : Series of texts
    others : array_like of texts

    Examples
    --------
    >>> is_among(pd.Series(["F1", "F2", "F1"]), ["F1", "F3"]).tolist()
    [True, False, True]
    """
    found = pc.is_in(as_arrow(codes), value_set=as_arrow(others))
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=np.bool_)


def positions_of(codes: pd.Series[Any], known: pd.Series[Any]) -> npt.NDArray[np.int64]:
    """Return the position of each code among the known ones; -1: unknown."""
    found = pc.index_in(as_arrow(codes), value_set=as_arrow(known))
    return found.fill_null(-1).to_numpy().astype(np.int64)


def as_arrow(texts: Any) -> pa.Array:
    """Texts as one Arrow array."""
    cells = pa.array(texts, type=pa.string(), from_pandas=True)
    return cells.combine_chunks() if isinstance(cells, pa.ChunkedArray) else cells
