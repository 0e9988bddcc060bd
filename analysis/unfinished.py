"""What did a program that was killed leave half written, and is it still at work?

Files and folders under way carry the process and machine that write them in their names. When
that process is gone they are removed by the next one that writes there: they hold families' data.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import re
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

ENDING = "unfinished"
PREFIX = "linedays"
_MACHINE = hashlib.sha256(platform.node().encode()).hexdigest()[:8]
_OURS = re.compile(rf"\.?{PREFIX}-{_MACHINE}-([0-9]+)-[0-9a-f]{{16}}(\.{ENDING})?")


def unfinished_in(folder: Path) -> Path:
    """A name for a file or folder under way; what killed programs left there is removed."""
    clear(folder)
    return folder / f".{_name()}.{ENDING}"


@contextlib.contextmanager
def temporary_folder() -> Iterator[Path]:
    """Make a folder that this account alone may read, and remove it at the end."""
    parent = Path(tempfile.gettempdir())
    clear(parent)
    folder = parent / _name()
    try:
        folder.mkdir(mode=0o700)
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def clear(folder: Path) -> list[Path]:
    """Remove what programs of this machine that are gone left in a folder; returns what it was."""
    if os.name != "posix":  # elsewhere asking for a process would end it
        return []
    removed = []
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            found = _OURS.fullmatch(entry.name)
            if found is None or _is_running(int(found[1])):
                continue
            path = Path(entry.path)
            if entry.is_dir(follow_symlinks=False):
                shutil.rmtree(path, ignore_errors=True)
            else:
                with contextlib.suppress(OSError):
                    path.unlink()
            removed.append(path)
    return removed


def _name() -> str:
    return f"{PREFIX}-{_MACHINE}-{os.getpid()}-{os.urandom(8).hex()}"


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        pass
    return True
