"""Which 16-byte hashes can't have come before? So that only the others are looked up."""

from __future__ import annotations

import numpy as np

from analysis.store.versions import Mask, Words

_BITS = 23


class Seen:
    """Hashes that came before: none is missed, a few others are taken for one.

    Each hash sets two of 2 ** 23 marks (*Source:* Bloom, Space/time trade-offs in hash coding with
    allowable errors, Communications of the ACM 13(7), 1970).
    """

    def __init__(self) -> None:
        self._marks = np.zeros(1 << _BITS, np.bool_)

    def note(self, words: Words) -> None:
        """Note hashes, as `versions.words_of` gives them."""
        self._marks[_places(words)] = True

    def perhaps(self, words: Words) -> Mask:
        """Where a hash may have come before; shape (n,)."""
        first, second = _places(words).T
        return self._marks[first] & self._marks[second]


def _places(words: Words) -> Words:
    return words >> np.uint64(64 - _BITS)
