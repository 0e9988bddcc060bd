"""Where are files between their preview and the answer whether they are imported?

In a folder of this user's own on this machine, readable by nobody else, one upload a person: the
processes of the dashboard share it. An upload that nobody answers is deleted after half an hour.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
import stat
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

HELD_SECONDS = 30 * 60
"""How long an upload is held."""

_LIST = "files.json"


@dataclass(frozen=True)
class Held:
    """An upload: its number for the form, the files by name, and the source that was chosen."""

    number: str
    files: tuple[tuple[Path, str], ...]
    source: str | None


@dataclass(frozen=True)
class HeldFiles:
    """The uploads that are held for one store."""

    folder: Path

    @classmethod
    def of_store(cls, store_url: str) -> HeldFiles:
        """The folder of a store; not made yet."""
        name = hashlib.sha256(f"{store_url} {os.getcwd()}".encode()).hexdigest()[:20]  # noqa: PTH109
        return cls(Path(tempfile.gettempdir()) / f"linedays-held-{name}")

    def hold(self, who: str, files: Sequence[tuple[Path, str]], source: str | None) -> Held:
        """Move files here in place of what this person had here before."""
        self._make()
        self.drop_old()
        place = self._place(who)
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(mode=0o700)
        moved = tuple(
            (Path(shutil.move(path, place / f"file-{n}")), name)
            for n, (path, name) in enumerate(files)
        )
        held = Held(secrets.token_hex(16), moved, source)
        about = {"number": held.number, "names": [n for _, n in moved], "source": source}
        (place / _LIST).write_text(json.dumps(about), encoding="utf-8")
        return held

    def held(self, who: str, number: str) -> Held | None:
        """A person's upload; None: it is not here (any more)."""
        if not self._is_ours():
            return None
        self.drop_old()
        place = self._place(who)
        try:
            about = json.loads((place / _LIST).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        if not secrets.compare_digest(about["number"], number):
            return None
        files = tuple((place / f"file-{n}", name) for n, name in enumerate(about["names"]))
        return Held(number, files, about["source"])

    def drop(self, who: str) -> None:
        """Delete a person's upload."""
        shutil.rmtree(self._place(who), ignore_errors=True)
        self._remove_if_empty()

    def drop_old(self) -> None:
        """Delete uploads that nobody answered."""
        oldest = time.time() - HELD_SECONDS
        for place in self.folder.iterdir() if self._is_ours() else ():
            if place.lstat().st_mtime < oldest:
                shutil.rmtree(place, ignore_errors=True)

    def _place(self, who: str) -> Path:
        return self.folder / hashlib.sha256(who.encode()).hexdigest()[:20]

    def _make(self) -> None:
        self.folder.mkdir(mode=0o700, exist_ok=True)
        if not self._is_ours():
            raise PermissionError(
                f"{self.folder} is not a folder that only this user may read. Delete it."
            )

    def _is_ours(self) -> bool:
        """Whether the folder is there, is this user's, and is closed to everybody else."""
        try:
            about = self.folder.lstat()
        except OSError:
            return False
        if not stat.S_ISDIR(about.st_mode):
            return False
        return os.name == "nt" or (about.st_uid == os.geteuid() and not about.st_mode & 0o077)

    def _remove_if_empty(self) -> None:
        try:
            self.folder.rmdir()
        except OSError:
            return
