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
    found = pc.is_in(_cells(codes), value_set=as_arrow(others))
    return np.asarray(found, dtype=np.bool_)


def positions_of(codes: pd.Series[Any], known: pd.Series[Any]) -> npt.NDArray[np.int64]:
    """Return the position of each code among the known ones; -1: unknown."""
    found = pc.index_in(_cells(codes), value_set=as_arrow(known))
    return np.asarray(found.fill_null(-1), dtype=np.int64)


def places_of(codes: pd.Series[Any], code: str) -> npt.NDArray[np.intp]:
    """Return the positions of one code, ascending.

    Examples
    --------
    >>> places_of(pd.Series(["F1", "F2", "F1"], dtype="string"), "F1").tolist()
    [0, 2]
    """
    cells = codes.array
    if isinstance(cells, pd.arrays.ArrowStringArray):
        same = np.asarray(pc.equal(cells.__arrow_array__(), code).fill_null(False))
    else:
        same = np.asarray(codes == code)
    return np.flatnonzero(same)


def as_arrow(texts: Any) -> pa.Array:
    """Texts as one Arrow array."""
    cells = _cells(texts)
    return cells.combine_chunks() if isinstance(cells, pa.ChunkedArray) else cells


def _cells(texts: Any) -> pa.Array | pa.ChunkedArray:
    """Texts as Arrow has them: those of a long frame lie in several parts, which are not copied."""
    return pa.array(texts, type=pa.large_string(), from_pandas=True)


def rows_at(frame: pd.DataFrame, at: npt.NDArray[Any]) -> pd.DataFrame:
    """Return few rows of a long frame by their ascending positions, as `DataFrame.take`; see `cells_at`."""
    if not len(at):
        return frame.iloc[:0]
    columns = {name: cells_at(frame[name].array, at) for name in frame}
    return pd.DataFrame(columns, index=frame.index.take(at), copy=False)


def cells_at(cells: Any, at: npt.NDArray[Any]) -> Any:
    """Return few cells of a long column by their ascending positions.

    Texts that lie in several parts are taken from each part by itself: pandas joins all parts
    first, which takes as long as the column is.
    """
    lies = cells.__arrow_array__() if isinstance(cells, pd.arrays.ArrowStringArray) else None
    if lies is None or lies.num_chunks < 2:
        return cells.take(at)
    starts = np.cumsum([0, *(len(part) for part in lies.chunks)])
    cuts = np.searchsorted(at, starts)
    parts = [
        part.take(pa.array(at[first:end] - start))
        for part, start, first, end in zip(lies.chunks, starts, cuts, cuts[1:], strict=False)
        if first < end
    ]
    return type(cells)(pa.chunked_array([pa.concat_arrays(parts or [lies.chunk(0)[:0]])]))
