"""How does a command open a store and take its snapshot?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import date, datetime
from functools import partial
from pathlib import Path

import typer

from analysis.cli.afterwards import afterwards
from analysis.cli.options.shared import OnADay
from analysis.cli.progress import begin_calculating, waiting
from analysis.policy import Policy
from analysis.snapshot import Snapshot, save, take
from analysis.store import Store
from analysis.unfinished import temporary_folder


def today(policy: Policy) -> date:
    """Today in the programme's time zone."""
    return datetime.now(policy.zone).date()


@contextmanager
def opened(store_url: str, *, create: bool = False) -> Iterator[Store]:
    """Open a store and close it again.

    Raises
    ------
    StoreError
        It does not exist (unless `create`), is locked, or is newer than this program.
    """
    store = Store.open(store_url, create=create)
    try:
        yield store
    finally:
        store.close()


@contextmanager
def tried(store_url: str) -> Iterator[Store]:
    """Open a store on which anything may be tried; all of it is undone, and none is made.

    Where there is no store yet it is an empty one in a temporary folder.
    """
    with ExitStack() as open_now:
        if not Store.is_there(store_url):
            folder = open_now.enter_context(temporary_folder())
            store_url = f"sqlite:///{folder}/trial.sqlite"
        store = open_now.enter_context(opened(store_url, create=True))
        yield open_now.enter_context(store.trying())


def policy_of(store: Store, file: Path | None) -> Policy:
    """The policy to judge by; a note where a file takes the place of the store's policy."""
    policy = store.policy_for(file)
    stored = store.policy()
    if file is not None and stored is not None and policy != stored:
        typer.echo(f"linedays: judged by {file}, not by the policy of the store.", err=True)
    return policy


def snapshot(asked: OnADay) -> Snapshot:
    """Take the snapshot that a command asks for; its caveats are shown before any table."""
    with opened(asked.store) as store:
        return snapshot_of(store, asked)


def snapshot_of(store: Store, asked: OnADay) -> Snapshot:
    """Take the snapshot that a command asks for, of a store that is open; show its caveats."""
    policy = policy_of(store, asked.policy)
    with waiting("reading the store"):
        found = take(store, policy, asked.as_of or today(policy), asked.known_at)
    afterwards(partial(_save, found, store))
    show_caveats(found)
    begin_calculating()
    return found


def _save(found: Snapshot, store: Store) -> None:
    with waiting("saving what was calculated, for the next command"):
        save(found, store)
    store.close()


def show_caveats(found: Snapshot) -> None:
    """Show what every list made from a snapshot has to say."""
    for sentence in found.caveats_on(today(found.policy)):
        typer.echo(f"linedays: {sentence}", err=True)
