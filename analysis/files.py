"""How is a file written whole or not at all, and which files are never replaced?

A file is written under another name in the same folder and renamed when it is complete. Readers
of the folder find the earlier file or the new one, also when the program is stopped.
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO

from analysis.errors import UserError
from analysis.unfinished import unfinished_in

DATABASE_STARTS = (
    b"SQLite format 3\0",
    b"\x37\x7f\x06\x82",  # write-ahead log
    b"\x37\x7f\x06\x83",
    b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7",  # rollback journal
)
"""First bytes of an SQLite database and its logs. *Source:* SQLite, Database File Format, sections
1.3 (header), 3 (rollback journal) and 4.1 (write-ahead log)."""
COMPANIONS = ("-wal", "-shm", "-journal")
"""Endings of the files that SQLite keeps next to a database."""

OWNER_ONLY = 0o600
"""Rights of a new file: what leaves a store is about families."""


class FileError(UserError):
    """The file can't be written: one sentence for a user."""


def check_writable(path: Path, *, replace: bool = False, stores: Iterable[Path] = ()) -> None:
    """Check that a file may be written, before the work that fills it.

    Parameters
    ----------
    path : Path
        File to write; a link stands for the file it points to.
    replace : bool
        Whether a file of that name may be replaced.
    stores : iterable of Path
        Files of stores, which are never replaced even if they do not look like databases.

    Raises
    ------
    FileError
        It is a database or one of its companions, a folder, or it exists and `replace` is false.
    """
    try:
        _check(path, replace, stores)
    except OSError as fault:
        raise _cannot(path, fault) from None


def write_whole(path: Path, content: str | bytes, *, replace: bool = False) -> None:
    """Write a file whole, or not at all.

    Parameters
    ----------
    path : Path
        File to write.
    content : str or bytes
        Text is written as UTF-8, its line ends as they are.
    replace : bool
        Whether a file of that name may be replaced.
        The new one has the rights of the old one, else only the account may read it.

    Raises
    ------
    FileError
        As `check_writable`; the folder is missing or closed to this account; the disk is full.
    """
    with writing_whole(path, replace=replace) as file:
        file.write(content.encode("utf-8") if isinstance(content, str) else content)


@contextlib.contextmanager
def writing_whole(path: Path, *, replace: bool = False) -> Iterator[BinaryIO]:
    """Open a file that takes its name when the block ends without a fault; see `write_whole`."""
    try:
        if _check(path, replace, ()):
            with path.open("wb") as device:
                yield device
            return
        target = path.resolve()
        mode = OWNER_ONLY
        if target.exists():
            mode = stat.S_IMODE(target.stat().st_mode)
        unfinished = unfinished_in(target.parent)
        try:
            handle = os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_RDWR, mode)
            with os.fdopen(handle, "w+b") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            _check(path, replace, ())
            unfinished.replace(target)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as fault:
        raise _cannot(path, fault) from None


def _check(path: Path, replace: bool, stores: Iterable[Path]) -> bool:
    """Raise if a path can't be written; return whether it is a device or a pipe."""
    target = path.resolve()
    for ending in COMPANIONS:
        if target.name.endswith(ending) and _is_database(
            target.with_name(target.name.removesuffix(ending))
        ):
            raise _never(path)
    if not path.exists():
        return False
    kind = path.stat().st_mode
    if stat.S_ISDIR(kind):
        raise FileError(f"{path} is a folder. Name a file.")
    if not stat.S_ISREG(kind):
        return True
    if _is_database(path) or any(s.exists() and s.samefile(path) for s in stores):
        raise _never(path)
    if not replace:
        raise FileError(f"{path} exists already. Name another file, or replace it with --force.")
    return False


def _is_database(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(len(DATABASE_STARTS[0])).startswith(DATABASE_STARTS)


def _never(path: Path) -> FileError:
    return FileError(
        f"{path} belongs to a database, such as a linedays store, and is never replaced. Name "
        "another file."
    )


def _cannot(path: Path, fault: OSError) -> FileError:
    return FileError(
        f"{path} can't be written ({fault.strerror}). Check that its folder exists, that this "
        "account may write in it and that the disk isn't full."
    )
