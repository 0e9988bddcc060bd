"""Is a password long enough and hard to guess, and is it the one whose hash is stored?

Hashes are Argon2id with the parameters that argon2-cffi takes from RFC 9106 (2021, section 4,
second recommended option). *Source* of the rules: NIST SP 800-63B-4, section 3.1.1 (from
memory): at least 15 characters where a password is the only factor, no password that is common,
expected or made from the user's own name, no rule about kinds of characters, no change without a
reason. The lists of common passwords and words, and how many guesses a password takes, are those of
zxcvbn (D. L. Wheeler, USENIX Security 2016).
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
LEAST_GUESSES = 10**10
"""Fewer are what the source of the lists calls guessable once a hash is stolen (section 5.1 there,
from memory)."""
_ESTIMATED_CHARACTERS = 72
"""What follows can only make a password harder to guess."""

_hasher = PasswordHasher()
_few = threading.BoundedSemaphore(2)
"""Each hash takes tens of megabytes for a moment: more than two at once have to wait."""


def refuse_easy(password: str, code: str) -> None:
    """Refuse a password of a user that is easy to guess.

    Raises
    ------
    StoreError
        It is common, repeats itself, follows the keyboard or consists of the user's code.
    """
    from zxcvbn import zxcvbn

    known = [code, "linedays", "line days", "nurse", "manager"]
    found = zxcvbn(_normal(password)[:_ESTIMATED_CHARACTERS], user_inputs=known)
    if found["guesses"] < LEAST_GUESSES:
        raise StoreError(
            "This password is easy to guess: it is common, repeats itself, follows the keyboard or "
            "holds the staff code. Take, for example, four words that do not belong together."
        )


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
    return bool(stored_hash)  # a person of the hospital's sign-in has a blank one


def _normal(password: str) -> str:
    # The same letters typed on another keyboard give the same password.
    return unicodedata.normalize("NFC", password)


@cache
def _nobodys_hash() -> str:
    return _hasher.hash("the hash of nobody's password")
