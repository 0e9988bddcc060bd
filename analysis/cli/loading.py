"""Commands that take files into a store and give refused rows back."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import pandas as pd
import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from analysis.cli.options import FormatOption, OutOption, PolicyOption, StoreOption, opened
from analysis.cli.output import show
from analysis.ingest import IngestSummary, ingest, load_profile
from analysis.ingest.refused import refused_table, write_back
from analysis.policy import Policy, load_policy
from analysis.store import Store
from analysis.tables import INCOMING


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
    store: StoreOption = "",
    policy: PolicyOption = None,
    form: FormatOption = None,
    out: OutOption = None,
) -> None:
    """Take log files into the store; wrong rows are refused one by one and kept."""
    settings = load_policy(policy)
    with opened(store, create=True) as opened_store:
        summary = with_progress(opened_store, paths, settings, source, table, received_at)
    show(summary.frame(), form, out)
    for sentence in summary.faults:
        typer.echo(f"linedays: {sentence}", err=True)
    raise typer.Exit(summary.exit_code)


def with_progress(
    store: Store,
    paths: list[Path],
    policy: Policy,
    source: str | None,
    table: str | None,
    received_at: datetime | None,
) -> IngestSummary:
    """Ingest behind a progress bar on stderr."""
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        shown = bar.add_task("reading", total=None)

        def tell(file: str, done: int, total: int) -> None:
            bar.update(shown, description=file, completed=done, total=total)

        return ingest(
            store,
            paths,
            policy,
            profile=load_profile(source) if source else None,
            table=table,
            received_at=received_at or datetime.now(UTC),
            progress=tell,
        )


def refused(
    write: Annotated[
        Path | None,
        typer.Option("--write", metavar="FOLDER", help="Write files to mend and ingest again."),
    ] = None,
    store: StoreOption = "",
    form: FormatOption = None,
    out: OutOption = None,
) -> None:
    """Rows that could not be used: where, why, and how to mend them."""
    with opened(store) as opened_store:
        if write is None:
            show(refused_table(opened_store), form, out)
            return
        written = write_back(opened_store, write)
    listed = pd.DataFrame({"file": [str(p) for p in written]}, dtype="string")
    show(listed, form, out)
