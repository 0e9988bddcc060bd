"""How are words and numbers drawn? Small vectorised steps that every module here shares."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import pandas as pd

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

BLANK = -1
"""In whole-number columns of this package: not recorded, or still going on."""


def code(word: StrEnum) -> int:
    """Position of a word in its list.

    Examples
    --------
    >>> from analysis.vocabulary import Place
    >>> code(Place.RESPITE)
    1
    """
    return list(type(word)).index(word)


def column(frame: pd.DataFrame, name: str) -> Ints:
    """A whole-number column as int64."""
    return frame[name].to_numpy().astype(np.int64)


def pick(rng: np.random.Generator, size: int, odds: Mapping[StrEnum | int, float]) -> Ints:
    """Draw `size` codes with the given odds (any positive weights)."""
    choices = np.array([code(w) if isinstance(w, StrEnum) else w for w in odds], dtype=np.int64)
    share = np.cumsum(np.array(list(odds.values()), dtype=np.float64))
    return choices[np.searchsorted(share[:-1], rng.random(size) * share[-1], side="right")]


def pick_by(
    rng: np.random.Generator, group: Ints, odds: Mapping[StrEnum, Mapping[StrEnum | int, float]]
) -> Ints:
    """Draw one code for each element, with the odds of its group."""
    out = np.zeros(group.size, dtype=np.int64)
    for word, choices in odds.items():
        here = np.flatnonzero(group == code(word))
        out[here] = pick(rng, here.size, choices)
    return out


def by_code(words: type[StrEnum], values: Mapping[StrEnum, float]) -> Floats:
    """Values in the order of the word list, so that a code indexes them."""
    return np.array([values[w] for w in words], dtype=np.float64)


def between(rng: np.random.Generator, low: npt.ArrayLike, high: npt.ArrayLike, size: int) -> Ints:
    """Whole numbers, `low` to `high` both included (`high` below `low` counts as `low`)."""
    low_, high_ = np.asarray(low, np.int64), np.asarray(high, np.int64)
    width = np.maximum(high_ - low_, 0) + 1
    return low_ + np.floor(rng.random(size) * width).astype(np.int64)


def ragged(counts: Ints) -> tuple[Ints, Ints]:
    """Owner and number within the owner of each of ``counts.sum()`` elements.

    Examples
    --------
    >>> [part.tolist() for part in ragged(np.array([2, 0, 1]))]
    [[0, 0, 2], [0, 1, 0]]
    """
    owner = np.repeat(np.arange(counts.size), counts)
    first = np.cumsum(counts) - counts
    return owner, np.arange(owner.size) - first[owner]


def happenings(
    rng: np.random.Generator, per_day: Floats | float, start: Ints, end: Ints
) -> tuple[Ints, Ints]:
    """Poisson happenings on the days ``[start, end)`` of each owner: owner and day, sorted."""
    length = np.maximum(end - start, 0)
    owner, _ = ragged(rng.poisson(np.asarray(per_day) * length))
    day = start[owner] + np.floor(rng.random(owner.size) * length[owner]).astype(np.int64)
    order = np.lexsort((day, owner))
    return owner[order], day[order]


def ensure_each(
    rng: np.random.Generator, codes: Ints, wanted: Iterable[StrEnum | int], where: Bools
) -> None:
    """Put each wanted code that is absent at one place where the most common one is.

    Rare words would otherwise be missing from a small programme by chance.
    """
    for word in wanted:
        value = code(word) if isinstance(word, StrEnum) else word
        if (codes == value).any():
            continue
        there = codes[where]
        if not there.size:
            return
        commonest = np.bincount(there).argmax()
        spots = np.flatnonzero(where & (codes == commonest))
        if spots.size > 1:
            codes[rng.choice(spots)] = value
