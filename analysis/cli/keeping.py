"""Commands that back a store up and restore it."""

from __future__ import annotations

import pandas as pd
import typer

from analysis.cli.opening import opened
from analysis.cli.options.files import Backup, Grants, Restore, Verify
from analysis.cli.output import show
from analysis.store import Store, StoreError
from analysis.store.grants import grants as statements


def backup(asked: Backup) -> None:
    """Write a backup."""
    with opened(asked.store) as store:
        store.backup(asked.file, asked.key_file)
        place = store.place
    typer.echo(
        f"linedays: all of the store {place} is in {asked.file}. It holds contacts, notes and "
        "password hashes: protect it like the store. Policy files are not in it."
        + (f" It can be restored only with {asked.key_file}." if asked.key_file else ""),
        err=True,
    )


def grants(asked: Grants) -> None:
    """Print the statements that give a role its rights."""
    typer.echo("\n".join(statements(asked.role)))


def verify(asked: Verify) -> None:
    """Report of each table whether it is as it was stored."""
    with opened(asked.store) as store:
        found, place = store.verify(), store.place
    columns = ["table", "rows", "deleted", "links", "last_hash", "difference"]
    show(
        pd.DataFrame([[getattr(one, c) for c in columns] for one in found], columns=columns), asked
    )
    differences = [one.difference for one in found if one.difference is not None]
    if differences:
        raise StoreError(
            f"{place} is not as it was stored: {differences[0]}. Keep a copy of it as it is, and "
            "restore the newest backup that passes this check."
        )
    deleted = sum(one.deleted for one in found)
    but = f"; {deleted:,} rows were deleted on request" if deleted else ""
    typer.echo(f"linedays: all rows of {place} are as they were stored{but}.", err=True)


def restore(asked: Restore) -> None:
    """Make a new store from a backup."""
    with Store.restored(asked.store, asked.file, asked.key_file) as made:
        place, n_files = made.place, made.ingests()["ingest"].nunique()
    typer.echo(f"linedays: {place} holds what {asked.file} held, from {n_files} ingests.", err=True)
