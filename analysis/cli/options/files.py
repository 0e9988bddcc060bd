"""Options of the commands that read files into a store and write files from it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options.shared import (
    ForceOption,
    KnownAtOption,
    OnADay,
    Output,
    PolicyOption,
    StoreOption,
)
from analysis.vocabulary import As, Copy, Private, Role, Versions


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a date and time; write it like 2031-03-01T08:00"
        ) from None


@dataclass(frozen=True, kw_only=True)
class Ingest(StoreOption, PolicyOption, Output):
    """Ingest log files into the store; rows that can't be used are refused and kept for fixing."""

    paths: Annotated[list[Path], typer.Argument(metavar="PATH…", help="Files or folders.")]
    source: Annotated[
        str | None,
        typer.Option("--source", metavar="PROFILE", help="Source profile: a name or a TOML file."),
    ] = None
    table: Annotated[
        str | None,
        typer.Option("--table", metavar="TABLE", help="Table the files hold."),
    ] = None
    received_at: Annotated[
        datetime | None,
        typer.Option(
            "--received-at",
            parser=_moment,
            metavar="MOMENT",
            help="When the clinic got the rows [default: now].",
        ),
    ] = None
    history: Annotated[
        bool,
        typer.Option(
            "--history",
            help="History: rows count as received on the day they were done (an assumption).",
        ),
    ] = False


@dataclass(frozen=True, kw_only=True)
class Refused(StoreOption, Output):
    """Rows that could not be used: where, why, and how to fix them."""

    write: Annotated[
        Path | None,
        typer.Option("--write", metavar="FOLDER", help="Write files to fix and ingest again."),
    ] = None


class For(StrEnum):
    """Whose report."""

    MANAGER = str(Role.MANAGER)
    PREVENTION = str(Role.PREVENTION)
    EDUCATOR = str(Role.EDUCATOR)
    ALL = "all"


@dataclass(frozen=True, kw_only=True)
class ReportFiles(StoreOption, PolicyOption, KnownAtOption, ForceOption):
    """Weekly summary or monthly report as one HTML file and one PDF for each role.

    Rows received after the last day of the week or month are left out, unless --known-at names
    a later day. The same command on the same store gives the same files.
    """

    whose: Annotated[For, typer.Option("--for", help="Whose report; all: one for each role.")]
    month_name: Annotated[
        str | None, typer.Option("--month", metavar="MONTH", help="Report on a month: 2031-03.")
    ] = None
    week_name: Annotated[
        str | None,
        typer.Option("--week", metavar="WEEK", help="Weekly summary of an ISO week: 2031-W11."),
    ] = None
    folder: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Where the files are put.")
    ] = Path()
    copy: Annotated[
        Copy,
        typer.Option(
            "--copy",
            help="team: names families and shows small counts; outside: no family, counts from 1 "
            "to 10 hidden.",
        ),
    ] = Copy.TEAM
    site: Annotated[
        list[str] | None,
        typer.Option(
            "--site", metavar="SITE", help="Only families of this site; may be repeated [all]."
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class ToFolder(OnADay):
    """A folder of files."""

    write: Annotated[
        Path,
        typer.Option("--write", metavar="FOLDER", help="A new folder for the files."),
    ]
    kind: Annotated[As, typer.Option("--as", help="csv; or parquet, which keeps types.")] = As.CSV


@dataclass(frozen=True, kw_only=True)
class Export(ToFolder):
    """Records and the tables calculated from them as files, each with its data dictionary.

    Files of records (CSV) can be ingested again. The same command on the same store gives the same
    files. They hold codes of families and are for the team.
    """

    tables: Annotated[
        list[str] | None, typer.Argument(metavar="[TABLE…]", help="Tables [default: all].")
    ] = None
    versions: Annotated[
        Versions,
        typer.Option(
            "--versions", help="Of records: those in force, or all that were ever received."
        ),
    ] = Versions.CURRENT
    private: Annotated[
        list[Private] | None,
        typer.Option("--with", help="Write this too, else left out; may be repeated."),
    ] = None


@dataclass(frozen=True, kw_only=True)
class ExportDeidentified(ToFolder):
    """An extract for people outside the team, with a statement of what remains identifiable.

    Codes are replaced, dates moved, free text left out and rare words hidden.
    """

    key_file: Annotated[
        Path | None,
        typer.Option(
            "--key-file",
            metavar="FILE",
            help="The same codes and shifts each time, by the key in this file, made if it isn't "
            "there [default: a key that is not kept].",
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Backup(StoreOption):
    """Write everything in the store to one file, while others go on working.

    Policy files and fitted orders are files of their own: keep them with it.
    """

    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that isn't there yet.")]


@dataclass(frozen=True, kw_only=True)
class Restore(StoreOption):
    """Make a new store from a backup, all of it or nothing; nothing is ever overwritten.

    The store may be of either kind, as the backup may be. Everybody signs in again.
    """

    file: Annotated[Path, typer.Argument(metavar="FILE", help="What 'linedays backup' wrote.")]
