"""Commands that back a store up and restore it."""

from __future__ import annotations

import csv
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import typer

from analysis.cli.opening import opened
from analysis.cli.options.files import Backup, Grants, Restore, Verify
from analysis.cli.output import show
from analysis.cli.people import note_export
from analysis.cli.progress import waiting
from analysis.errors import UsageError, UserError
from analysis.files import write_whole
from analysis.store import Store, StoreError
from analysis.store.grants import grants as statements
from analysis.store.verify import Noted
from analysis.unfinished import temporary_folder

NAME = "linedays-"
REPORT = "last-backup.txt"
"""Report on the newest backup of a folder: done or FAILED, when, and what."""


def backup(asked: Backup) -> None:
    """Write a backup, and with --keep a report of it."""
    file = asked.file if asked.keep is None else _in_folder(asked.file)
    report = None if asked.keep is None else asked.file / REPORT
    try:
        sentences = _backup(asked, file)
    except UserError as fault:
        if report is not None:
            _write(report, f"FAILED {_now()} {fault}")
        raise
    if report is not None and asked.keep is not None:
        gone = sorted(asked.file.glob(f"{NAME}*.zip"))[: -asked.keep]
        for old in gone:
            old.unlink()
        sentences += f" {len(gone)} older deleted." if gone else ""
        _write(report, f"done {_now()} {sentences}")
    typer.echo(f"linedays: {sentences}", err=True)


def _backup(asked: Backup, file: Path) -> str:
    """Write a backup and try it; what was done, in sentences."""
    address = _of_settings(asked.settings) if asked.settings else asked.store
    with opened(address) as store, waiting("writing the backup"):
        note_export(store, "backup")
        store.backup(file, asked.key_file)
        place = store.place
    sentences = (
        f"all of the store {place} is in {file}. It holds contacts, notes and "
        "password hashes: protect it like the store. Policy files are not in it."
    )
    if asked.key_file:
        sentences += f" It can be restored only with {asked.key_file}."
    if asked.try_restore:
        try:
            sentences += f" It was restored to try it: {_tried(file, asked.key_file)}."
        except BaseException:
            file.unlink(missing_ok=True)  # it must not take the place of a good one
            raise
    return sentences


def _tried(file: Path, key_file: Path | None) -> str:
    """Restore a backup into a store that is removed again; how many rows it has, all verified."""
    with (
        waiting("trying to restore the backup"),
        temporary_folder() as folder,
        Store.restored(f"sqlite:///{folder}/tried.sqlite", file, key_file) as restored,
    ):
        found = restored.verify()
    rows = [f"{one.rows:,} row{'s' * (one.rows != 1)} of {one.table}" for one in found if one.rows]
    return ", ".join(rows) or "no rows"


def _in_folder(folder: Path) -> Path:
    """A new file of a folder, named after the moment; the folder is made for this account alone."""
    if folder.exists() and not folder.is_dir():
        raise StoreError(f"{folder} is a file. With --keep, name a folder for the backups.")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise StoreError(f"The folder {folder} can't be made: {fault.strerror}.") from None
    return folder / f"{NAME}{_now().replace(':', '')}.zip"


def _write(report: Path, text: str) -> None:
    write_whole(report, f"{text}\n", replace=True)


def _now() -> str:
    return f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"


def _of_settings(file: Path) -> str:
    """The store that settings name."""
    from dashboard.settings import read_settings

    store = read_settings(file).store
    if store is None:
        raise StoreError(f"{file} names no store. Name it there, or with --store.")
    return store


def grants(asked: Grants) -> None:
    """Print the statements that give a role its rights."""
    typer.echo("\n".join(statements(asked.role)))


def verify(asked: Verify) -> None:
    """Report of each table whether it is as it was stored."""
    noted = _read_noted(asked.noted) if asked.noted else []
    with opened(asked.store) as store, waiting("comparing rows with what was stored"):
        found, place = store.verify(), store.place
        changed = store.compare_noted(noted)
    columns = ["table", "rows", "deleted", "links", "last_hash", "difference"]
    show(
        pd.DataFrame([[getattr(one, c) for c in columns] for one in found], columns=columns), asked
    )
    differences = [*(one.difference for one in found if one.difference is not None), *changed]
    if differences:
        raise StoreError(
            f"{place} is not as it was stored: {differences[0]}. Keep a copy of it as it is, and "
            "restore the newest backup that passes this check."
        )
    deleted = sum(one.deleted for one in found)
    but = f"; {deleted:,} rows were deleted on request" if deleted else ""
    typer.echo(f"linedays: all rows of {place} are as they were stored{but}.", err=True)
    if asked.noted:
        typer.echo(f"linedays: nothing stored before {asked.noted} has changed.", err=True)


def _read_noted(path: Path) -> list[Noted]:
    """The last hashes of an earlier output of `verify`, as CSV."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
        noted = [Noted(row["table"], row["last_hash"] or "") for row in rows]
    except (OSError, UnicodeDecodeError, csv.Error, KeyError):
        noted = []
    if not any(one.last_hash for one in noted):
        raise UsageError(
            f"{path} can't be read, or holds no hash. Name a file that 'linedays verify --format "
            "csv --out FILE' wrote."
        )
    return noted


def restore(asked: Restore) -> None:
    """Make a new store from a backup."""
    with (
        waiting("restoring the backup"),
        Store.restored(asked.store, asked.file, asked.key_file) as made,
    ):
        place, n_files = made.place, made.ingests()["ingest"].nunique()
    typer.echo(f"linedays: {place} holds what {asked.file} held, from {n_files} ingests.", err=True)
