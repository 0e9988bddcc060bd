"""Commands that take files into a store and give refused rows back."""

from __future__ import annotations

from dataclasses import astuple, fields
from datetime import datetime
from pathlib import Path
from typing import Annotated

import pandas as pd
import typer
from rich.console import Console
from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as ProgressBar

from analysis.cli.options import (
    DEFAULT_STORE,
    ForceOption,
    FormatOption,
    OutOption,
    PolicyOption,
    StoreOption,
    opened,
)
from analysis.cli.output import show
from analysis.ingest import IngestSummary, Profile, Progress, TableCount, ingest, load_profile
from analysis.ingest.refused import listed, write_back
from analysis.policy import Policy, load_policy
from analysis.store import Store
from analysis.tables import INCOMING

NOT_READ = 3
"""Exit code when a file could not be used at all."""


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("ingest")(ingest_)
    app.command("refused")(refused)


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no moment; write it like 2031-03-01T08:00") from None


def _table_name(text: str) -> str:
    if text not in INCOMING:
        raise typer.BadParameter(f"{text!r} is no table; tables are {', '.join(INCOMING)}")
    return text


def ingest_(
    paths: Annotated[list[Path], typer.Argument(metavar="PATH…", help="Files or folders.")],
    source: Annotated[
        str | None,
        typer.Option("--source", metavar="PROFILE", help="Source profile: a name or a TOML file."),
    ] = None,
    table: Annotated[
        str | None,
        typer.Option("--table", parser=_table_name, metavar="TABLE", help="Table the files hold."),
    ] = None,
    received_at: Annotated[
        datetime | None,
        typer.Option(
            "--received-at",
            parser=_moment,
            metavar="MOMENT",
            help="When the clinic got the rows [default: now].",
        ),
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Take log files into the store; wrong rows are refused one by one and kept."""
    settings = load_policy(policy)
    with opened(store, create=True) as opened_store:
        profile = load_profile(source) if source else None
        summary = with_progress(opened_store, paths, settings, profile, table, received_at)
    show(counts_table(summary), form, out, force=force)
    for sentence in (*summary.notes, *summary.faults):
        typer.echo(f"linedays: {sentence}", err=True)
    raise typer.Exit(NOT_READ if summary.faults else int(summary.refused > 0))


def counts_table(summary: IngestSummary) -> pd.DataFrame:
    """One row a file and table: rows read = stored + same as before + refused."""
    columns = [f.name for f in fields(TableCount)]
    return pd.DataFrame([astuple(t) for t in summary.tables], columns=columns)


def with_progress(
    store: Store,
    paths: list[Path],
    policy: Policy,
    profile: Profile | None = None,
    table: str | None = None,
    received_at: datetime | None = None,
) -> IngestSummary:
    """Ingest behind a progress bar on stderr."""
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    console = Console(stderr=True)
    with ProgressBar(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        shown = bar.add_task("reading", total=None)

        def tell(seen: Progress) -> None:
            bar.update(
                shown, description=seen.file, completed=seen.bytes_done, total=seen.bytes_total
            )

        return ingest(store, paths, policy, profile, table, received_at, tell)


def refused(
    write: Annotated[
        Path | None,
        typer.Option("--write", metavar="FOLDER", help="Write files to mend and ingest again."),
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Rows that could not be used: where, why, and how to mend them."""
    with opened(store) as opened_store:
        if write is None:
            show(listed(opened_store.refused()), form, out, force=force)
            return
        written = write_back(opened_store, write)
    show(pd.DataFrame({"file": [str(p) for p in written]}, dtype="string"), form, out, force=force)
