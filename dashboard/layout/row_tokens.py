"""How does a page name a stored row without showing its number?

Rows of all sites are numbered together, so that a number shows a person of one site how much other
sites send. A page holds a token instead: the number encrypted with its table (AES-SIV, RFC 5297) to
a key that is new with every start, as with forms. The processes of one server are forked from the
one that made the key.
"""

from __future__ import annotations

import base64
import secrets
from functools import cache
from typing import Any

_KEY = secrets.token_bytes(32)
_BYTES = 8


def row_token(row: int, table: str) -> str:
    """The token of a row of a table; the same one each time until the server starts again.

    Examples
    --------
    >>> token = row_token(41, "calls")
    >>> row_behind(token, "calls"), row_behind(token, "accesses"), row_behind("41", "calls")
    (41, None, None)
    """
    sealed = _cipher().encrypt(row.to_bytes(_BYTES, signed=True), [table.encode()])
    return base64.urlsafe_b64encode(sealed).decode()


def row_behind(token: object, table: object) -> int | None:
    """The number behind a token of a table; None: no page of this server gave it out."""
    from cryptography.exceptions import InvalidTag

    if not isinstance(token, str) or not isinstance(table, str):
        return None
    try:
        sealed = base64.urlsafe_b64decode(token.encode())
        opened = _cipher().decrypt(sealed, [table.encode("utf-8", "replace")])
    except (InvalidTag, ValueError):
        return None
    return int.from_bytes(opened, signed=True)


@cache
def _cipher() -> Any:
    from cryptography.hazmat.primitives.ciphers.aead import AESSIV  # takes long to load

    return AESSIV(_KEY)
