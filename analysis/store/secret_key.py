"""How are secrets of second factors kept from those who can read the store, but not the server?

They are encrypted (AES-256-GCM, NIST SP 800-38D) to a key in a file of the server, and to the code
of their user, so that no secret works in the row of another one.
"""

from __future__ import annotations

import base64
import os
import secrets
from pathlib import Path

from analysis.files import FileError, write_whole
from analysis.store.faults import StoreError
from analysis.unfinished import unfinished_in

FILE_NAME = "second-factors.key"
"""Name of the key file in the folder of an SQLite store, where the settings name none."""
MARK = "aes256gcm:"
"""Start of an encrypted secret; secrets of earlier versions have none."""
_KEY_BYTES, _NONCE_BYTES = 32, 12


def is_encrypted(stored: str) -> bool:
    """Whether a stored secret is encrypted."""
    return stored.startswith(MARK)


def encrypted(secret: str, code: str, key_file: Path | None) -> str:
    """A secret of a user as it is stored; the key file is made where there is none.

    Raises
    ------
    StoreError
        There is no key file, or it can't be read or made.
    """
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    if key_file is None:
        raise StoreError(
            "Two-step sign-in needs a file for its key. Name one in the settings: "
            'second_factor_key = "/var/lib/linedays/second-factors.key".'
        )
    if not key_file.exists():
        _make(key_file)
    nonce = secrets.token_bytes(_NONCE_BYTES)
    sealed = AESGCM(_key(key_file)).encrypt(nonce, secret.encode(), code.encode())
    return MARK + base64.b64encode(nonce + sealed).decode()


def plain(stored: str, code: str, key_file: Path | None) -> str:
    """A secret of a user, from what is stored.

    Raises
    ------
    StoreError
        The key is missing or not the one that encrypted it.
    """
    if not is_encrypted(stored):
        return stored
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    try:
        raw = base64.b64decode(stored.removeprefix(MARK), validate=True)
        if key_file is None:
            raise FileNotFoundError
        opened = AESGCM(_key(key_file)).decrypt(
            raw[:_NONCE_BYTES], raw[_NONCE_BYTES:], code.encode()
        )
    except (InvalidTag, ValueError, FileNotFoundError):
        raise StoreError(
            f"The code of {code} can't be checked: {key_file or 'the key file'} is missing or is "
            "not the key that encrypted it. Sign in with a recovery code, or ask your "
            "administrator to put the key file back or to run 'linedays user two-step-off'."
        ) from None
    return opened.decode()


def _key(path: Path) -> bytes:
    try:
        text = path.read_text(encoding="ascii")
    except FileNotFoundError:
        raise
    except (OSError, ValueError):
        raise StoreError(f"{path} can't be read, or holds no key.") from None
    key = base64.b64decode(text.strip(), validate=True)
    if len(key) != _KEY_BYTES:
        raise ValueError("no key of this length")
    return key


def _make(path: Path) -> None:
    """Write a new key, unless another process does so at the same moment."""
    made = unfinished_in(path.parent)
    try:
        write_whole(made, base64.b64encode(secrets.token_bytes(_KEY_BYTES)).decode() + "\n")
        os.link(made, path)  # fails where there is one, and never replaces it
    except FileExistsError:
        return
    except (FileError, OSError):
        raise StoreError(
            f"The key file {path} can't be made. Check that its folder exists and that this "
            "account may write in it."
        ) from None
    finally:
        made.unlink(missing_ok=True)
