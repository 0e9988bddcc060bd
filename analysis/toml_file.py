"""How is a TOML file of a person read without waiting, and without a fault of the program?"""

from __future__ import annotations

import stat
import tomllib
from pathlib import Path
from typing import Any

MOST_BYTES = 10_000_000
"""Largest file of settings that is read (project choice)."""


class NoPlainFileError(OSError):
    """A device, a pipe or a folder, or far too large."""


class TomlError(ValueError):
    """The text is no TOML; the message gives the reason."""


def read_plain(path: Path, encoding: str = "utf-8-sig") -> str:
    """Return the text of a file; a pipe or a device is not opened, because it may never end.

    Raises
    ------
    OSError, UnicodeDecodeError
        It cannot be read, is no plain file or too large, or is not of the encoding.
    """
    about = path.stat()
    if not stat.S_ISREG(about.st_mode) or about.st_size > MOST_BYTES:
        raise NoPlainFileError(f"{path} is no plain file, or larger than {MOST_BYTES} bytes")
    return path.read_text(encoding)


def parsed(text: str) -> dict[str, Any]:
    """Return what a TOML text holds.

    Raises
    ------
    TomlError
        It is not valid, has brackets in brackets without end, or a number of thousands of digits.

    Examples
    --------
    >>> parsed("days = 7")
    {'days': 7}
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise TomlError(str(fault)) from None
    except RecursionError:
        raise TomlError("too many brackets in brackets") from None
    except ValueError:  # Python refuses to read numbers of thousands of digits
        raise TomlError("a number in it has too many digits") from None
