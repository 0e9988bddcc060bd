"""Commands that ingest files, and that return refused rows for fixing."""

from __future__ import annotations

import getpass
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import astuple, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

import pandas as pd
import typer
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as ProgressBar

from analysis.cli.opening import opened, policy_of, tried
from analysis.cli.options.loading import Ingest, Refused
from analysis.cli.output import show
from analysis.cli.previewing import show_preview
from analysis.errors import UsageError, nearest
from analysis.ingest import (
    IngestSummary,
    LogFile,
    Profile,
    ProfileError,
    Progress,
    TableCount,
    ingest,
    load_profile,
)
from analysis.ingest.near import codes_of
from analysis.ingest.next_steps import next_steps
from analysis.ingest.preview import preview
from analysis.ingest.refused import listed, write_back
from analysis.ingest.stored_sources import stored_profiles
from analysis.policy import Policy, read_text
from analysis.store import Store
from analysis.tables import INCOMING
from analysis.unfinished import temporary_folder

NOT_READ = 3
"""Exit code when a file could not be used at all."""


def ingest_files(asked: Ingest) -> None:
    """Ingest files and show what became of their rows."""
    if asked.table is not None and asked.table not in INCOMING:
        raise UsageError(
            f"{asked.table!r} is not a table; tables are {', '.join(INCOMING)}."
            f"{nearest(asked.table, INCOMING)}"
        )
    if asked.history and asked.received_at is not None:
        raise UsageError(
            "--history and --received-at can't be combined: rows of history count as received on "
            "the day they were done. Leave one out."
        )
    if asked.dry_run:
        _show_preview(asked)
    if asked.source and not Store.is_there(asked.store):
        load_profile(asked.source)  # no store is made for one that is not there
    with opened(asked.store, create=True) as store, _files(asked.paths) as files:
        profile = _profile(store, asked.source)
        settings = _policy(store, asked.policy)
        summary = with_progress(
            store,
            files,
            settings,
            profile,
            asked.table,
            asked.received_at,
            history=asked.history,
            zone_is_set=store.policy() is not None,
        )
        registry = store.registry()
        steps = next_steps(
            summary,
            has_lines=bool(registry.lines.num_rows),
            has_entries="home_log" in set(store.ingests()["table"].dropna()),
            zone_is_set=store.policy() is not None,
        )
    show(counts_table(summary), asked)
    for sentence in (*summary.notes, *summary.faults):
        typer.echo(f"linedays: {sentence}", err=True)
    for step in steps:
        typer.echo(f"linedays: Next: {step}", err=True)
    raise typer.Exit(NOT_READ if summary.faults else int(summary.refused > 0))


@contextmanager
def _files(paths: Sequence[Path]) -> Iterator[Sequence[Path | LogFile]]:
    """The files that are named; standard input as a file, which is deleted at the end."""
    if Path("-") not in paths:
        yield paths
        return
    with temporary_folder() as folder:
        with (folder / "input").open("wb") as out:
            shutil.copyfileobj(sys.stdin.buffer, out)
        log = LogFile(folder / "input", "standard input")
        yield [log if path == Path("-") else path for path in paths]


def _profile(store: Store, source: str | None) -> Profile | None:
    """The profile that is named: of a source of the store, else of a file."""
    if source is None:
        return None
    stored = {profile.name: profile for profile in stored_profiles(store)}
    if source in stored:
        return stored[source]
    try:
        return load_profile(source)
    except ProfileError as fault:
        meant = nearest(source, stored)
        raise ProfileError(f"{fault}{meant}") from None


def _show_preview(asked: Ingest) -> NoReturn:
    """Show what the files would become; nothing is stored."""
    with tried(asked.store) as store, _files(asked.paths) as files, bar() as report:
        profile = _profile(store, asked.source)
        settings = _policy(store, asked.policy, quietly=True)
        found = preview(
            store,
            files,
            settings,
            profile,
            asked.table,
            asked.received_at,
            report,
            history=asked.history,
            zone_is_set=store.policy() is not None,
            sources=stored_profiles(store),
        )
    show_preview(found, asked)
    for sentence in (*found.summary.notes, *found.summary.faults):
        typer.echo(f"linedays: {sentence}", err=True)
    typer.echo("linedays: Nothing was stored.", err=True)
    raise typer.Exit(NOT_READ if found.summary.faults else int(found.summary.refused > 0))


def _policy(store: Store, file: Path | None, *, quietly: bool = False) -> Policy:
    """The policy to read by; the first file that is named becomes the policy of the store."""
    if file is not None and store.policy() is None:
        text, place = read_text(file), str(file.absolute())
        store.set_policy(text, place, getpass.getuser(), datetime.now(UTC))
        if not quietly:
            typer.echo(f"linedays: {file} is now the policy of the store.", err=True)
    return policy_of(store, file)


def counts_table(summary: IngestSummary) -> pd.DataFrame:
    """One row a file and table: rows read = stored + same as before + refused."""
    columns = [f.name for f in fields(TableCount)]
    return pd.DataFrame([astuple(t) for t in summary.tables], columns=columns)


def with_progress(
    store: Store,
    paths: Sequence[Path | LogFile],
    policy: Policy,
    profile: Profile | None = None,
    table: str | None = None,
    received_at: datetime | None = None,
    ingested_at: datetime | None = None,
    *,
    history: bool = False,
    zone_is_set: bool = True,
) -> IngestSummary:
    """Ingest behind a progress bar on stderr."""
    with bar() as report:
        return ingest(
            store,
            paths,
            policy,
            profile,
            table,
            received_at,
            report,
            ingested_at=ingested_at,
            history=history,
            zone_is_set=zone_is_set,
            sources=stored_profiles(store),
        )


@contextmanager
def bar() -> Iterator[Callable[[Progress], None]]:
    """A progress bar on stderr, for a terminal only."""
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    console = Console(stderr=True)
    with ProgressBar(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as shown:
        task = shown.add_task("reading", total=None)

        def report(seen: Progress) -> None:
            shown.update(
                task, description=seen.file, completed=seen.bytes_done, total=seen.bytes_total
            )

        yield report


def refused(asked: Refused) -> None:
    """List refused rows, or write them to files for fixing."""
    with opened(asked.store) as store:
        if asked.write is None:
            show(listed(store.refused(), codes_of(store.registry())), asked)
            return
        written = write_back(store, asked.write)
    show(pd.DataFrame({"file": [str(p) for p in written]}, dtype="string"), asked)
