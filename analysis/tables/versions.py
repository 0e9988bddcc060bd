"""Which versions of a row were replaced, and still show what held before?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def replaced(key: npt.NDArray[np.int64], void: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Mark the versions that a later one of the same key replaced, without a withdrawal since.

    Parameters
    ----------
    key : int64 array, shape (n,)
        Key of each version, in order of receipt.
    void : bool array, shape (n,)
        The version withdraws its key.

    Examples
    --------
    >>> replaced(np.array([1, 1, 1, 2, 2]), np.array([False, True, False, False, False])).tolist()
    [False, False, False, True, False]
    """
    order = np.argsort(key, kind="stable")
    ordered, withdraws = key[order], void[order].astype(np.int64)
    ends = np.flatnonzero(np.append(ordered[1:] != ordered[:-1], True)[: len(key)])
    last = ends[np.searchsorted(ends, np.arange(len(key)))] if len(key) else ends
    total = np.cumsum(withdraws)
    withdrawn_since = total[last] > total - withdraws
    found = np.zeros(len(key), dtype=np.bool_)
    found[order] = (np.arange(len(key)) != last) & ~withdrawn_since
    return found
