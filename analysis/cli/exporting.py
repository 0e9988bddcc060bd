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
from analysis.cli.people import note_taken_out
from analysis.exports import (
    OF_A_COMMAND,
    RECORDS,
    TABLES,
    As,
    Key,
    Private,
    Table,
    Versions,
    about_page,
    alone,
    deidentify,
    key_of_file,
    left_out_words,
    record_tables,
    statement,
    without,
    without_times,
    write_folder,
)
from analysis.measures import MeasureError
from analysis.policy import load_policy
from analysis.snapshot import Snapshot, take
from analysis.store import Store


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
    deidentified: Annotated[
        bool,
        typer.Option(
            "--deidentified",
            help="For outside the team: codes replaced, dates moved, rare words hidden, with a "
            "statement of what remains identifiable.",
        ),
    ] = False,
    key_file: Annotated[
        Path | None,
        typer.Option(
            "--key-file",
            metavar="FILE",
            help="With --deidentified: the same codes and shifts each time, by the key in this "
            "file, made if it isn't there [default: a key that is forgotten].",
        ),
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
    if key_file is not None and not deidentified:
        raise MeasureError("--key-file goes with --deidentified.")
    if deidentified and (tables or private or versions is Versions.ALL):
        raise MeasureError(
            "an extract is one whole: --deidentified goes with no table, --with or --versions."
        )
    settings, asked_for = load_policy(policy), frozenset(private or ())
    with opened(store) as opened_store:
        seen = take(opened_store, settings, as_of or today(settings), known_at)
        every = opened_store.versions() if versions is Versions.ALL else None
        if deidentified:
            _write_extract(opened_store, seen, write, kind, key_file)
            return
        names = tables or [*RECORDS, *TABLES]
        note_taken_out(opened_store, " ".join([*names, *sorted(f"--with {p}" for p in asked_for)]))
    records = record_tables(seen, every)
    chosen: dict[str, Table] = {}
    for name in names:
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


def _write_extract(
    store: Store, seen: Snapshot, folder: Path, kind: As, key_file: Path | None
) -> None:
    key = Key.new() if key_file is None else key_of_file(key_file)
    extract = deidentify(seen, key)
    found = alone(extract.tables)
    tables = {f"tables/{name}": table for name, table in extract.tables.items()}
    note_taken_out(store, "de-identified extract")
    write_folder(
        folder, tables, kind, lambda files: statement(extract, found, files), "STATEMENT.md"
    )
    without_times(folder)
    known = found.iloc[0]
    typer.echo(
        f"linedays: an extract of {extract.children} children is in {folder}; {known['alone']} of "
        f"them stand alone with their {known['known']}. Read {folder / 'STATEMENT.md'} before it "
        "leaves the team: it says what remains identifiable.",
        err=True,
    )
    if key_file is not None:
        typer.echo(
            f"linedays: {key_file} leads back from the extract to each child: keep it apart.",
            err=True,
        )
