"""Is a password long enough, and is it the one whose hash is stored?

Hashes are Argon2id with the parameters that argon2-cffi takes from RFC 9106 (2021, section 4,
second recommended option). *Source* of the length: NIST SP 800-63B-4, section 3.1.1 (from
memory): at least 15 characters where a password is the only factor.
"""

from __future__ import annotations

import threading
import unicodedata
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from analysis.store.faults import StoreError

LEAST_CHARACTERS = 15
MOST_CHARACTERS = 256

_hasher = PasswordHasher()
_few = threading.BoundedSemaphore(2)
"""Each hash takes tens of megabytes for a moment: more than two at once have to wait."""


def hashed(password: str) -> str:
    """Argon2id hash of a password, with its salt and parameters.

    Raises
    ------
    StoreError
        The password is too short or too long.
    """
    plain = _normal(password)
    if len(plain) < LEAST_CHARACTERS:
        raise StoreError(
            f"The password is too short: take at least {LEAST_CHARACTERS} characters, for example "
            "four words that do not belong together."
        )
    if len(plain) > MOST_CHARACTERS:
        raise StoreError(f"The password is too long: take at most {MOST_CHARACTERS} characters.")
    with _few:
        return _hasher.hash(plain)


def fits(password: str, stored_hash: str | None) -> bool:
    """Whether a password is the one of the hash.

    Without a hash the answer is no, and takes as long as any other: how long it takes does not
    tell whether there is such a user.
    """
    plain = _normal(password)[: MOST_CHARACTERS + 1]
    with _few:
        try:
            _hasher.verify(stored_hash or _nobodys_hash(), plain)
        except (VerificationError, InvalidHashError):
            return False
    return stored_hash is not None


def _normal(password: str) -> str:
    # The same letters typed on another keyboard give the same password.
    return unicodedata.normalize("NFC", password)


@cache
def _nobodys_hash() -> str:
    return _hasher.hash("the hash of nobody's password")
