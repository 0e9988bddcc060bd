"""How is a code replaced by one without meaning, and by how many days is a child moved?

Both follow from a secret key by HMAC-SHA-256 (RFC 2104, FIPS 180-4): without the key neither the
old code nor the shift can be calculated, not even by trying all codes. The key is new for each
extract and forgotten after it, unless a file keeps it.
"""

from __future__ import annotations

import base64
import hmac
import re
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.exports.folder import ExportError
from analysis.files import FileError, write_whole

KEY_BYTES = 32
CODE_BYTES = 10
"""80 bits: among a million codes two fall together with a chance of 4 in 10 to the 13th."""
CENTURY_DAYS = 36_525
"""All dates move at least so far that none can be taken for a true one."""
REACH_DAYS = 364
"""A child's own shift is that century and up to so many days less or more."""

_KEY_LINE = re.compile(rf"[0-9a-f]{{{2 * KEY_BYTES}}}\s*\Z")


END_DAYS = 91
"""A child's follow-up ends up to so many days, less one, before the extract does: a quarter."""


@dataclass(frozen=True)
class Key:
    """The secret of an extract."""

    secret: bytes

    def __repr__(self) -> str:
        """Nothing of the secret."""
        return "Key(…)"

    @classmethod
    def new(cls) -> Key:
        """A key that nobody has."""
        return cls(secrets.token_bytes(KEY_BYTES))

    def codes(self, kind: str, cells: pd.Series[Any]) -> pd.Series[Any]:
        """New codes, the same for the same code; missing stays missing.

        Examples
        --------
        >>> key = Key(bytes(KEY_BYTES))
        >>> key.codes("line", pd.Series(["L1", None, "L1"], dtype="string")).tolist()
        ['line-RQXVUUL4NG2THYS4', <NA>, 'line-RQXVUUL4NG2THYS4']
        """
        place, found = pd.factorize(cells)
        made = [
            f"{kind}-{base64.b32encode(self._digest(kind, code)[:CODE_BYTES]).decode()}"
            for code in found
        ]
        return pd.Series([*made, None], dtype="string").take(place).set_axis(cells.index)

    def shifts(self, children: pd.Series[Any]) -> npt.NDArray[np.int64]:
        """Days by which each child's dates move: one number a child, all equally likely."""
        return CENTURY_DAYS - REACH_DAYS + self._days("shift", children, 2 * REACH_DAYS + 1)

    def days_cut(self, children: pd.Series[Any]) -> npt.NDArray[np.int64]:
        """Days by which each child's follow-up ends before the extract: all equally likely."""
        return self._days("end", children, END_DAYS)

    def _days(self, kind: str, children: pd.Series[Any], width: int) -> npt.NDArray[np.int64]:
        place, found = pd.factorize(children)
        days = [int.from_bytes(self._digest(kind, child)) % width for child in found]
        return np.array([*days, 0], dtype=np.int64)[place]

    def _digest(self, kind: str, code: str) -> bytes:
        return hmac.digest(self.secret, f"{kind}\0{code}".encode(), "sha256")


def key_of_file(path: Path) -> Key:
    """Read a key from a file, or make a new one there that its owner alone may read.

    Raises
    ------
    ExportError
        The file holds something else or can't be read or made.
    """
    try:
        if not path.exists():
            key = Key.new()
            write_whole(path, f"{key.secret.hex()}\n")
            return key
        text = path.read_bytes().decode("ascii", "replace")
    except FileError as fault:
        raise ExportError(str(fault)) from None
    except OSError as fault:
        raise ExportError(
            f"The key file {path} can't be read or made ({fault.strerror}). Check that its folder "
            "is there and that this account may read and write it."
        ) from None
    if not _KEY_LINE.match(text):
        raise ExportError(
            f"{path} is no key file: a key is one line of {2 * KEY_BYTES} digits 0–9 and a–f. Name "
            "a file that isn't there yet and a new key is made."
        )
    return Key(bytes.fromhex(text.strip()))
