"""The command that writes tables to a folder for other programs."""

from __future__ import annotations

import typer

from analysis.cli.opening import opened, policy_of, show_caveats, snapshot_of, today
from analysis.cli.options.files import Export, ExportDeidentified, ExportFhir
from analysis.cli.people import note_export
from analysis.cli.progress import counting, waiting
from analysis.errors import UsageError, nearest
from analysis.exports import (
    OF_A_COMMAND,
    RECORDS,
    TABLES,
    Key,
    Table,
    about_page,
    alone,
    closed,
    dated_by_end,
    deidentify,
    key_of_file,
    left_out_words,
    read_off,
    record_tables,
    statement,
    without,
    without_times,
    write_folder,
)
from analysis.exports.fhir import as_ndjson
from analysis.files import check_writable, write_whole
from analysis.reports import closed_quarter
from analysis.reports.period import month_words
from analysis.snapshot import take
from analysis.vocabulary import Versions


def _check(name: str) -> None:
    """Raise for a name that is no table of an export."""
    if name in OF_A_COMMAND:
        raise UsageError(
            f"{name!r} has options of its own; write it by 'linedays {OF_A_COMMAND[name]}' with "
            "--out."
        )
    tables = (*RECORDS, *TABLES)
    if name not in tables:
        raise UsageError(
            f"{name!r} is not a table; tables are {', '.join(tables)}.{nearest(name, tables)}"
        )


def export(asked: Export) -> None:
    """Write tables to a folder."""
    for name in asked.tables or ():
        _check(name)
    private = frozenset(asked.private or ())
    names = asked.tables or [*RECORDS, *TABLES]
    with opened(asked.store) as store:
        seen = snapshot_of(store, asked)
        every = store.versions() if asked.versions is Versions.ALL else None
        note_export(store, " ".join([*names, *sorted(f"--with {p}" for p in private)]))
    records = record_tables(seen, every)
    chosen: dict[str, Table] = {}
    with counting("calculating tables", len(names)) as done:
        for name in names:
            if name in RECORDS:
                chosen[f"records/{name}"] = without(records[name], private)
            else:
                chosen[f"tables/{name}"] = without(TABLES[name](seen), private)
            done()
    written = write_folder(
        asked.write,
        chosen,
        asked.kind,
        lambda files: about_page(seen, private, asked.versions, files),
    )
    typer.echo(
        f"linedays: {len(written)} tables are in {asked.write}, each with its data dictionary. "
        f"{left_out_words(private)}",
        err=True,
    )


def export_fhir(asked: ExportFhir) -> None:
    """Write the home log as FHIR resources."""
    check_writable(asked.file, replace=asked.force)
    with opened(asked.store) as store:
        seen = snapshot_of(store, asked)
        note_export(store, "home_log as FHIR")
    private = frozenset(asked.private or ())
    log = without(record_tables(seen)["home_log"], private)
    content = as_ndjson(seen.edition, log, seen.records.lines)
    write_whole(asked.file, content, replace=asked.force)
    typer.echo(
        f"linedays: {len(log.frame)} entries are in {asked.file}. {left_out_words(private)}",
        err=True,
    )


def extract(asked: ExportDeidentified) -> None:
    """Write a de-identified extract of all days up to a closed quarter to a folder."""
    folder, key_file = asked.write, asked.key_file
    if asked.known_at is not None:
        raise UsageError(
            "An extract has a fixed day of receipt, so that two extracts cannot be subtracted. "
            "Leave out --known-at."
        )
    with opened(asked.store) as store:
        policy = policy_of(store, asked.policy)
        quarter = closed_quarter(asked.as_of or today(policy))
        seen = take(store, policy, quarter.end, quarter.settled_on)
        show_caveats(seen)
        key = Key.new() if key_file is None else key_of_file(key_file)
        with waiting("making the extract"):
            made = deidentify(closed(seen, key), key)
        found, dated = alone(made.tables), dated_by_end(made, seen, key)
        read = read_off(made, seen, key)
        note_export(store, "de-identified extract")
    tables = {f"tables/{name}": table for name, table in made.tables.items()}
    write_folder(
        folder,
        tables,
        asked.kind,
        lambda files: statement(made, found, dated, read, files),
        "STATEMENT.md",
    )
    without_times(folder)
    known = found.iloc[0]
    typer.echo(
        f"linedays: an extract of {made.children} children, up to the end of "
        f"{month_words(quarter.name)}, is in {folder}; {known['alone']} of "
        f"them are alone with their {known['known']}. Read {folder / 'STATEMENT.md'} before it "
        "leaves the team: it lists what remains identifiable.",
        err=True,
    )
    if key_file is not None:
        typer.echo(
            f"linedays: {key_file} leads back from the extract to each child: keep it somewhere "
            "else.",
            err=True,
        )
