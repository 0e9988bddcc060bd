"""Commands that delete a family on request, and list families past the time of retention."""

from __future__ import annotations

import getpass
from datetime import UTC, datetime

import typer

from analysis.cli.opening import opened, policy_of, today
from analysis.cli.options.files import DeleteFamily, Retention
from analysis.cli.output import show
from analysis.cli.people import COMMAND_LINE
from analysis.decisions.retention import past_retention
from analysis.errors import UsageError
from analysis.store import Store, StoreError

LEFT = (
    "linedays: backups made before still hold it: delete them, or delete it again after a restore. A "
    "file that brings it again is not stored. The access log keeps its code with who viewed it."
)
NOT_CLEAN = (
    "{family} is deleted, but its old bytes may still be in the file of the store, because another "
    "program is reading it. Run the same command again when nobody uses it."
)
NO_RULE = (
    "The policy has no rule of retention. Write for example retention_years = 10 at the top of the "
    "policy file, as your law and programme require."
)


def delete_family(asked: DeleteFamily) -> None:
    """Delete a family and take its bytes out of the store."""
    with opened(asked.store) as store:
        if store.was_deleted(asked.family):
            typer.echo(f"linedays: {asked.family} was deleted before.", err=True)
        else:
            _delete(store, asked)
        if not store.clean():
            raise StoreError(NOT_CLEAN.format(family=asked.family))
    typer.echo(LEFT, err=True)


def _delete(store: Store, asked: DeleteFamily) -> None:
    found = store.to_delete(asked.family, shared=asked.shared)
    rows = ", ".join(f"{n:,} of {table}" for table, n in found.rows.items())
    sites = f" of {' and '.join(sorted(found.sites))}" if found.sites else ""
    typer.echo(f"linedays: the family {asked.family}{sites} has these rows: {rows}.", err=True)
    if not asked.yes:
        again = typer.prompt("Nothing brings them back. Type the code again to delete it", err=True)
        if again != asked.family:
            raise UsageError("The code is another one. Nothing was deleted.")
    about = f"{asked.reason}; account {getpass.getuser()}"
    done = store.delete_family(
        asked.family, COMMAND_LINE, about, datetime.now(UTC), shared=asked.shared
    )
    typer.echo(
        f"linedays: {sum(done.rows.values()):,} rows of {asked.family} are deleted.", err=True
    )


def retention(asked: Retention) -> None:
    """List families past the time of retention."""
    with opened(asked.store) as store:
        policy = policy_of(store, asked.policy)
        records = store.records()
    if policy.retention_years is None:
        raise StoreError(NO_RULE)
    day = asked.as_of or today(policy)
    show(past_retention(records.lines, policy.retention_years, day), asked)
