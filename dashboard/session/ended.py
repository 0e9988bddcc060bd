"""Which sign-ins ended here while the store could not record it?

With a full or read-only disk the end of a sign-in cannot be stored, but who signs out is signed
out. The hashes of such tokens are in memory that all processes of this server share. After a
restart an unrecorded end lasts by the limits of a sign-in: its use cannot be stored either.
"""

from __future__ import annotations

import hashlib
import mmap

MOST = 4096
"""Ends that are remembered; beyond that the oldest of the same place is replaced."""
_BYTES = hashlib.sha256().digest_size
_EMPTY = bytes(_BYTES)


class EndedHere:
    """Tokens of sign-ins that ended; has to be made before the server forks."""

    def __init__(self) -> None:
        self._memory = mmap.mmap(-1, MOST * _BYTES)

    def add(self, token: str) -> None:
        """Remember that the sign-in of this token ended."""
        digest = _hash_of(token)
        places = self._places(digest)
        for place in places:
            if self._at(place) in {_EMPTY, digest}:
                self._memory[place : place + _BYTES] = digest
                if self._at(place) == digest:  # no other process took the place meanwhile
                    return
        self._memory[places[0] : places[0] + _BYTES] = digest

    def __contains__(self, token: str) -> bool:
        digest = _hash_of(token)
        return any(self._at(place) == digest for place in self._places(digest))

    def _places(self, digest: bytes) -> list[int]:
        first = int.from_bytes(digest[:4], "big")
        return [(first + step) % MOST * _BYTES for step in range(16)]

    def _at(self, place: int) -> bytes:
        return self._memory[place : place + _BYTES]


def _hash_of(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()
