"""How does an Arrow table from the store become a frame typed as in its catalogue entry?"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from analysis.days import NO_DAY, dates_of
from analysis.tables.columns import Column, Frame
from analysis.tables.kinds import Kind


def typed(table: pa.Table, entry: Frame) -> pd.DataFrame:
    """Make the frame of an entry from columns as stored; the rows stay as they lie.

    Parameters
    ----------
    table : pyarrow.Table
        Columns as stored: text, days since 1970-01-01, microseconds UTC, whole numbers.
    entry : Frame
        Catalogue entry whose columns are taken; whole numbers never pass through a float.
    """
    return pd.DataFrame({c.name: _typed(table[c.name], c) for c in entry.columns}, copy=False)


def _typed(cells: pa.ChunkedArray, column: Column) -> Any:
    if column.kind in {Kind.TEXT, Kind.CODES}:
        # In one part: of texts in several, pandas copies all to take a few.
        return pd.array(cells.cast(pa.large_string()).combine_chunks(), dtype="string[pyarrow]")
    if column.kind is Kind.CODE:
        return _categories(cells, column)
    if column.kind in {Kind.DATE, Kind.MONTH}:
        return dates_of(_int64(cells, NO_DAY))
    if column.kind is Kind.INSTANT:
        return _int64(cells, NO_DAY).view("datetime64[us]")
    if column.kind is Kind.FLAG:
        return cells.to_numpy() != 0
    if column.blank is None:
        return _int64(cells, 0)
    return pd.arrays.IntegerArray(np.array(_int64(cells, 0)), np.array(cells.is_null()))


def _int64(cells: pa.ChunkedArray, blank: int) -> npt.NDArray[np.int64]:
    whole = cells.cast(pa.int64())
    return np.asarray((whole.fill_null(blank) if whole.null_count else whole).to_numpy())


def dtype_of_words(words: Iterable[str], column: Column) -> pd.CategoricalDtype:
    """Different codes of a column in the order of the vocabulary, then of the alphabet."""
    found = frozenset(words)
    if found <= _vocabulary(column.allowed):
        return _of_vocabulary(found, column.allowed)
    others = sorted(found.difference(column.allowed))
    known = [word for word in column.allowed if word in found]
    return pd.CategoricalDtype(pd.Index([*known, *others], dtype="object"))


_vocabulary = lru_cache(frozenset[str])


@lru_cache
def _of_vocabulary(words: frozenset[str], allowed: tuple[str, ...]) -> pd.CategoricalDtype:
    """Made once: making one takes long for a frame of few rows."""
    return pd.CategoricalDtype(
        pd.Index([word for word in allowed if word in words], dtype="object")
    )


def _categories(cells: pa.ChunkedArray, column: Column) -> pd.Categorical:
    """Codes in an order that is never that of the rows."""
    is_encoded = pa.types.is_dictionary(cells.type)
    encoded = cells.unify_dictionaries() if is_encoded else cells.dictionary_encode()
    words = encoded.chunk(0).dictionary.to_pylist() if encoded.num_chunks else []
    dtype = dtype_of_words(words, column)
    place = {word: at for at, word in enumerate(dtype.categories)}
    to = np.array([*(place[word] for word in words), -1], dtype=np.int16)
    blank = pa.scalar(len(words), pa.int32())
    parts = [to[chunk.indices.fill_null(blank).to_numpy()] for chunk in encoded.chunks]
    codes: Any = np.concatenate([np.empty(0, np.int16), *parts])
    return pd.Categorical.from_codes(codes, dtype=dtype)
