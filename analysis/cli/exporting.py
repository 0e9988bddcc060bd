"""The command that writes tables to a folder for other programs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    AsOfOption,
    KnownAtOption,
    PolicyOption,
    StoreOption,
    opened,
    today,
)
from analysis.exports import (
    OF_A_COMMAND,
    RECORDS,
    TABLES,
    As,
    Private,
    Table,
    Versions,
    about_page,
    left_out_words,
    record_tables,
    without,
    write_folder,
)
from analysis.policy import load_policy
from analysis.snapshot import take


def add_to(app: typer.Typer) -> None:
    """Register the command."""
    app.command("export")(export)


def _table_name(text: str) -> str:
    if text in RECORDS or text in TABLES:
        return text
    if text in OF_A_COMMAND:
        raise typer.BadParameter(
            f"{text!r} is the answer to a question with choices of its own; take it from "
            f"'linedays {OF_A_COMMAND[text]}' with --out"
        )
    raise typer.BadParameter(f"{text!r} is no table; tables are {', '.join((*RECORDS, *TABLES))}")


def export(
    write: Annotated[
        Path,
        typer.Option("--write", metavar="FOLDER", help="A new folder for the files."),
    ],
    tables: Annotated[
        list[str] | None,
        typer.Argument(metavar="[TABLE…]", parser=_table_name, help="Tables [default: all]."),
    ] = None,
    kind: Annotated[As, typer.Option("--as", help="csv; or parquet, which keeps types.")] = As.CSV,
    versions: Annotated[
        Versions,
        typer.Option(
            "--versions", help="Of records: those in force, or all that were ever received."
        ),
    ] = Versions.CURRENT,
    private: Annotated[
        list[Private] | None,
        typer.Option("--with", help="Write this too, else left out; may be repeated."),
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
) -> None:
    """Records and what is worked out of them as files, each with its data dictionary.

    Files of records (CSV) can be ingested again. The same command on the same store gives the same
    files. They hold codes of families and are for the team.
    """
    settings, asked_for = load_policy(policy), frozenset(private or ())
    with opened(store) as opened_store:
        seen = take(opened_store, settings, as_of or today(settings), known_at)
        every = opened_store.versions() if versions is Versions.ALL else None
    records = record_tables(seen, every)
    chosen: dict[str, Table] = {}
    for name in tables or (*RECORDS, *TABLES):
        if name in RECORDS:
            chosen[f"records/{name}"] = without(records[name], asked_for)
        else:
            chosen[f"tables/{name}"] = without(TABLES[name](seen), asked_for)
    written = write_folder(
        write, chosen, kind, lambda files: about_page(seen, asked_for, versions, files)
    )
    typer.echo(
        f"linedays: {len(written)} tables are in {write}, each with its data dictionary. "
        f"{left_out_words(asked_for)}",
        err=True,
    )
