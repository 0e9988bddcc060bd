"""What was calculated of a store before, in a folder next to it, for the next command.

Saved are the rows in force and, of one day and policy, the timeline, the tallies, the reasons to
call and who needs retraining. A part is named after what it depends on: this program's files and libraries, the last links of
the stored rows and, but for the rows themselves, the policy and the day. A part of another name is
not read; rows stored since are added to saved ones as a dashboard does it (`Snapshot.with_added`).
Where nothing can be saved or read, all is calculated again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import os
import shutil
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

import analysis
from analysis.decisions.calls import CareReasons
from analysis.policy import Policy
from analysis.snapshot.snapshot import Snapshot
from analysis.store import Store, StoreError
from analysis.tables import Records
from analysis.tables.records import KNOWN, Link
from analysis.tallies import Tallies
from analysis.timeline import Timeline
from analysis.timeline.build import code
from analysis.unfinished import unfinished_in

ROWS = "rows"
CALCULATED = {
    "timeline": Timeline,
    "counted_tallies": Tallies,
    "care_reasons": CareReasons,
    "retraining": pd.DataFrame,
}
"""Parts of a snapshot that are saved, with their class."""
ALWAYS_READ = ("calls", "arrangements")
"""Rows that are few and always read from the store."""
ABOUT = "about.json"
ENDING = ".arrow"

log = logging.getLogger("linedays")


@dataclass(frozen=True)
class Saved:
    """The folder of a store."""

    folder: Path

    @classmethod
    def of(cls, store: Store) -> Saved | None:
        """None: there is no folder, or others than this account may write to it."""
        folder = store.saved_folder
        if folder is None or not _is_private(folder):
            return None
        return cls(folder)

    def rows(self, known_at: datetime) -> Records | None:
        """The saved rows, where all of them were known at an instant; calls and arrangements are empty."""
        for part in self.folder.glob(f"{ROWS}-*"):
            with contextlib.suppress(OSError, ValueError, KeyError, pa.ArrowException):
                about = json.loads((part / ABOUT).read_text())
                links = {
                    name: (n, row, bytes.fromhex(h)) for name, (n, row, h) in about["links"].items()
                }
                if part.name != _rows_name(links) or known_at < datetime.fromisoformat(
                    about["known_at"]
                ):
                    continue
                names = [name for name in KNOWN if name not in ALWAYS_READ]
                return Records.of(_frames_in(part, names), links=links)
        return None

    def parts(self, records: Records, policy: Policy, as_of: date) -> dict[str, Any]:
        """The saved parts of a snapshot of these rows, by name."""
        found: dict[str, Any] = {}
        for name, kind in CALCULATED.items():
            part = self.folder / _name(name, records.links, policy, as_of)
            frames = [name]
            if is_dataclass(kind):
                frames = [f.name for f in fields(kind) if f.type == "pd.DataFrame"]
            with contextlib.suppress(OSError, ValueError, pa.ArrowException):
                found[name] = _made(kind, _frames_in(part, frames), records, policy, as_of)
        return found


def save(found: Snapshot, store: Store) -> None:
    """Save what was calculated of a snapshot, unless it is of some sites or leaves stored rows out.

    What was saved of other rows, days or policies is removed. A folder that cannot be written, a
    full disk or another program that is writing to the store only leaves a line in the log.
    """
    folder, records = store.saved_folder, found.records
    if folder is None or found.sites is not None or records.not_yet_known or not records.links:
        return
    name = partial(_name, links=records.links, policy=found.policy, as_of=found.as_of)
    calculated = {part: vars(found)[part] for part in CALCULATED if part in vars(found)}
    made = {
        name(part): {part: value} if isinstance(value, pd.DataFrame) else vars(value)
        for part, value in calculated.items()
    }
    made[_rows_name(records.links)] = {
        n: f for n, f in records.frames.items() if n not in ALWAYS_READ
    }
    missing = {part: frames for part, frames in made.items() if not (folder / part).exists()}
    if not missing:
        return
    links = {n: (link, row, digest.hex()) for n, (link, row, digest) in records.links.items()}
    about = json.dumps({"links": links, "known_at": found.known_at.isoformat()})
    unfinished = None
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        if not _is_private(folder):
            raise OSError(f"{folder} can be changed by others")
        unfinished = unfinished_in(folder)
        unfinished.mkdir(mode=0o700)
        for part, frames in missing.items():
            _write(unfinished / part, frames, about)
        # A family deleted meanwhile must not come back: no row changes until the parts have their names.
        with store.unchanged(records.links) as unchanged:
            if unchanged:
                _rename(unfinished, folder, missing)
                _remove_others(
                    folder, [name(part) for part in CALCULATED] + [_rows_name(records.links)]
                )
    except (OSError, StoreError, pa.ArrowException) as fault:
        log.info("What was calculated was not saved for the next command: %s", fault)
    finally:
        if unfinished is not None:
            shutil.rmtree(unfinished, ignore_errors=True)


def _rename(unfinished: Path, folder: Path, parts: Iterable[str]) -> None:
    for part in parts:
        if not (folder / part).exists():  # else another process was quicker
            (unfinished / part).rename(folder / part)


def _remove_others(folder: Path, wanted: Iterable[str]) -> None:
    """Remove parts that are of other rows, another day or another policy."""
    for part in folder.iterdir():
        if part.name not in wanted and not part.name.startswith("."):
            shutil.rmtree(part, ignore_errors=True)


def _is_private(folder: Path) -> bool:
    try:
        found = folder.lstat()
    except OSError:
        return False
    mode = stat.S_IMODE(found.st_mode)
    return stat.S_ISDIR(found.st_mode) and found.st_uid == os.geteuid() and not mode & 0o077


def _made(
    kind: type, frames: Mapping[str, pd.DataFrame], records: Records, policy: Policy, as_of: date
) -> object:
    """A part of a snapshot from its frames."""
    if kind is Timeline:
        return Timeline(
            as_of=as_of, find_coded=partial(code, records, as_of, policy.zone), **frames
        )
    if kind is Tallies:
        floor = policy.on(as_of).settings.coverage_floor
        row = np.arange(len(frames["lines"]), dtype=np.int64)
        return Tallies(coverage_floor=floor, row_of_holder=row, **frames)
    if kind is pd.DataFrame:
        (frame,) = frames.values()
        return frame
    return kind(**frames)


def _frames_in(part: Path, names: Iterable[str]) -> dict[str, pd.DataFrame]:
    """Saved frames of a part; their cells stay in the file until they are used."""
    found = {}
    for name in names:
        cells = pa.ipc.open_file(pa.memory_map(str(part / f"{name}{ENDING}"))).read_all()
        found[name] = cells.to_pandas(split_blocks=True)
    return found


def _write(part: Path, values: Mapping[str, object], about: str) -> None:
    part.mkdir(mode=0o700)
    for name, frame in values.items():
        if isinstance(frame, pd.DataFrame):
            table = pa.Table.from_pandas(frame, preserve_index=False)
            # As one batch: of a table without rows none would be written, and its words be lost.
            # A column in one part is that part: `combine_chunks` would copy it.
            columns = [
                c.chunk(0) if c.num_chunks == 1 else c.combine_chunks() for c in table.columns
            ]
            cells = pa.RecordBatch.from_arrays(columns, schema=table.schema)
            with _new(part / f"{name}{ENDING}") as file, pa.ipc.new_file(file, cells.schema) as out:
                out.write_batch(cells)
    with _new(part / ABOUT) as file:
        file.write(about.encode())


@contextlib.contextmanager
def _new(path: Path) -> Any:
    """A file that this account alone may read, and that is on the disk when the block ends."""
    handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(handle, "wb") as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def _name(part: str, links: Mapping[str, Link], policy: Policy, as_of: date) -> str:
    text = json.dumps([_rows_name(links), policy, as_of], default=_plain)
    return f"{part}-{hashlib.sha256(text.encode()).hexdigest()}"


def _rows_name(links: Mapping[str, Link]) -> str:
    text = json.dumps([_program(), sorted(links.items())], default=_plain)
    return f"{ROWS}-{hashlib.sha256(text.encode()).hexdigest()}"


def _plain(value: object) -> object:
    if isinstance(value, frozenset):
        return sorted(value)
    if is_dataclass(value):
        return vars(value)
    return dict(value) if isinstance(value, Mapping) else str(value)


@cache
def _program() -> str:
    """Hash of the versions of libraries that frames are made with, and of this program's files by size and time."""
    found = [np.__version__, pd.__version__, pa.__version__]
    for folder, _, names in os.walk(next(iter(analysis.__path__))):
        for path in (Path(folder, name) for name in names if name.endswith((".py", ".toml"))):
            seen = path.stat()
            found.append(f"{path} {seen.st_size} {seen.st_mtime_ns}")
    return hashlib.sha256("\n".join(sorted(found)).encode()).hexdigest()
