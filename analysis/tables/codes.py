"""Which codes of a column are among others?"""

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
    found = pc.is_in(_strings(codes), value_set=_strings(others))
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=np.bool_)


def _strings(texts: Any) -> pa.Array:
    cells = pa.array(texts, type=pa.string(), from_pandas=True)
    return cells.combine_chunks() if isinstance(cells, pa.ChunkedArray) else cells
