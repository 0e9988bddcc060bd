"""Commands that keep a store safe: all of it into one file, and out of it again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options import DEFAULT_STORE, StoreOption, opened
from analysis.store import Store


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("backup")(backup)
    app.command("restore")(restore)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that isn't there yet.")],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Write everything in the store to one file, while others go on working.

    Policy files and fitted orders are files of their own: keep them beside it.
    """
    with opened(store) as opened_store:
        opened_store.backup(file)
        place = opened_store.place
    typer.echo(
        f"linedays: all of the store {place} is in {file}. It holds contacts, notes and password "
        "hashes: guard it like the store. Policy files are not in it.",
        err=True,
    )


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What 'linedays backup' wrote.")],
    store: StoreOption = DEFAULT_STORE,
) -> None:
    """Make a new store from a backup, all of it or nothing; nothing is ever overwritten.

    The store may be of either kind, whatever kind the backup is from. Everybody signs in again.
    """
    with Store.restored(store, file) as made:
        place, n_files = made.place, made.ingests()["ingest"].nunique()
    typer.echo(f"linedays: {place} holds what {file} held, from {n_files} ingests.", err=True)
