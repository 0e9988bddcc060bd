"""Commands that back a store up and restore it."""

from __future__ import annotations

import typer

from analysis.cli.opening import opened
from analysis.cli.options.files import Backup, Restore
from analysis.store import Store


def backup(asked: Backup) -> None:
    """Write a backup."""
    with opened(asked.store) as store:
        store.backup(asked.file)
        place = store.place
    typer.echo(
        f"linedays: all of the store {place} is in {asked.file}. It holds contacts, notes and "
        "password hashes: protect it like the store. Policy files are not in it.",
        err=True,
    )


def restore(asked: Restore) -> None:
    """Make a new store from a backup."""
    with Store.restored(asked.store, asked.file) as made:
        place, n_files = made.place, made.ingests()["ingest"].nunique()
    typer.echo(f"linedays: {place} holds what {asked.file} held, from {n_files} ingests.", err=True)
