"""Which rows of a batch say something new about their key?

A row is *the same as before* when the version of its key in force at its own moment of
receipt has the same content. In force: the newest one received by then; of several received
at one moment, the one stored last. Rows are judged in the order of the batch, each against
the stored ones and those before it.

*Source:* project definition, definitions §2.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa

Ints = npt.NDArray[np.int64]
Words = npt.NDArray[np.uint64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Keys:
    """The different keys of a batch of n rows, numbered in the order of their bytes."""

    order: Ints
    """Positions of the rows by key and, within a key, in their order; shape (n,)."""
    number: Ints
    """Number of each row's key; shape (n,)."""
    first: Ints
    """Position of each key's first row."""
    rows_of: Ints
    """Rows of each key."""

    @property
    def n(self) -> int:
        """How many different keys."""
        return len(self.first)


def words_of(cells: pa.ChunkedArray) -> Words:
    """16-byte cells as two unsigned whole numbers each, in the order of their bytes."""
    parts = []
    for chunk in cells.chunks:
        whole = chunk.cast(pa.binary(16))
        if whole.null_count:
            raise ValueError(f"a cell of 16 bytes is blank in {whole.null_count} rows")
        raw = np.frombuffer(whole.buffers()[1], dtype=">u8", count=2 * (len(whole) + whole.offset))
        parts.append(raw.reshape(-1, 2)[whole.offset :].astype(np.uint64))
    return np.concatenate(parts) if parts else np.empty((0, 2), np.uint64)


def unique_keys(words: Words) -> Keys:
    """Number the different keys of a batch in the order of their bytes."""
    order = np.argsort(words[:, 0], kind="stable")
    ordered = words[order]
    same_start = ordered[1:, 0] == ordered[:-1, 0]
    if (same_start & (ordered[1:, 1] != ordered[:-1, 1])).any():
        order = np.lexsort((words[:, 1], words[:, 0]))
        ordered = words[order]
    starts = np.ones(len(words), dtype=bool)
    starts[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    number = np.empty(len(words), dtype=np.int64)
    number[order] = np.cumsum(starts) - 1
    first = order[starts]
    rows_of = np.diff(np.append(np.flatnonzero(starts), len(words)))
    return Keys(order, number, first, rows_of)


@dataclass(frozen=True)
class Versions:
    """Versions of keys: which key (its number in the batch), when received, content, row."""

    number: Ints
    received_at: Ints
    content: Words
    row: Ints


NO_VERSIONS = Versions(
    np.empty(0, np.int64), np.empty(0, np.int64), np.empty((0, 2), np.uint64), np.empty(0, np.int64)
)


def says_something_new(keys: Keys, batch: Versions, stored: Versions) -> Mask:
    """Tell for each row of a batch whether it has to be stored.

    Parameters
    ----------
    keys : Keys
        Keys of the batch.
    batch : Versions
        One row a row of the batch, in order; `row` increases.
    stored : Versions
        One row a stored version of one of these keys; every `row` is lower than the batch's.

    Returns
    -------
    array of bool, shape (rows of the batch,)
        False: the same as before.
    """
    new = np.ones(len(batch.number), dtype=bool)
    stored_of = np.bincount(stored.number, minlength=keys.n)
    in_question = (keys.rows_of + stored_of > 1)[batch.number]
    if not in_question.any():
        return new
    at = np.flatnonzero(in_question)
    number = np.concatenate([stored.number, batch.number[at]])
    received = np.concatenate([stored.received_at, batch.received_at[at]])
    content = np.concatenate([stored.content, batch.content[at]])
    place = np.concatenate([np.full(len(stored.number), -1, dtype=np.int64), at])
    row = np.concatenate([stored.row, batch.row[at]])
    # One entry a version, by key and then by receipt: where the rows of a key were received in
    # their order, the entry before a row is the version in force at its receipt.
    order = np.lexsort((row, received, number))
    number, content, place = number[order], content[order], place[order]
    same = np.zeros(len(order), dtype=bool)
    same[1:] = (number[1:] == number[:-1]) & (content[1:] == content[:-1]).all(axis=1)
    is_row = place >= 0
    new[place[is_row]] = ~same[is_row]
    _judge_one_by_one(_received_backwards(keys, batch), keys, batch, stored, new)
    return new


def _received_backwards(keys: Keys, batch: Versions) -> Ints:
    """Numbers of the keys of which a later row of the batch was received earlier."""
    received, number = batch.received_at[keys.order], batch.number[keys.order]
    backwards = (number[1:] == number[:-1]) & (received[1:] < received[:-1])
    return np.unique(number[1:][backwards])


def _judge_one_by_one(
    backwards: Ints, keys: Keys, batch: Versions, stored: Versions, new: Mask
) -> None:
    """Judge the rows of the few keys that were received in another order than here."""
    ends = np.cumsum(keys.rows_of)
    by_receipt = np.lexsort((stored.row, stored.received_at, stored.number))
    low = np.searchsorted(stored.number[by_receipt], backwards, side="left")
    high = np.searchsorted(stored.number[by_receipt], backwards, side="right")
    for key, begin, end in zip(backwards.tolist(), low.tolist(), high.tolist(), strict=True):
        known = by_receipt[begin:end]
        moments = stored.received_at[known].tolist()
        contents = [tuple(c) for c in stored.content[known].tolist()]
        for at in keys.order[ends[key] - keys.rows_of[key] : ends[key]].tolist():
            moment, content = int(batch.received_at[at]), tuple(batch.content[at].tolist())
            place = bisect_right(moments, moment)
            new[at] = place == 0 or contents[place - 1] != content
            if new[at]:
                moments.insert(place, moment)
                contents.insert(place, content)
