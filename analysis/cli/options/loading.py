"""Options of the commands that ingest files and return refused rows."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from analysis.cli.options.declared import argument, command, flag, option
from analysis.cli.options.shared import ForceOption, Output, PolicyOption, StoreOption


@command("ingest", "loading:ingest_files")
class Ingest(StoreOption, PolicyOption, Output):
    """Ingest log files into the store; rows that can't be used are refused and kept for fixing."""

    paths: list[Path] = argument("Files or folders; - for standard input.", "PATH…")
    source: str | None = option(
        "Source profile: a source of the store, or a TOML file.", metavar="PROFILE"
    )
    table: str | None = option("Table the files hold.", metavar="TABLE")
    received_at: datetime | None = option("When the clinic got the rows [default: now].")
    dry_run: bool = flag(
        "Show what the files would become: columns found, first rows as read, what would be "
        "refused and why. Nothing is stored."
    )
    history: bool = flag(
        "History: rows count as received on the day they were done (an assumption)."
    )


@command("source", "sources:describe_source")
class SourceOf(StoreOption, PolicyOption):
    """Describe a source from a file that it sent: columns, date order, words for codes.

    The profile is proposed, what is ambiguous is asked, and its effect on the file is shown. It is
    stored only when you agree; then files with the same headers are read by it.
    """

    file: Path = argument("A file as the source sends it.", "FILE")
    name: str | None = option("Name of the source [default: the file's name].")
    table: str | None = option("Table the file holds.", metavar="TABLE")
    answer: list[str] | None = option(
        "Answer to a question, by its key; may be repeated.", metavar="KEY=ANSWER"
    )
    save: bool = flag("Store the profile without asking, if no question is open.")


@command("sources", "sources:list_sources")
class Sources(StoreOption, Output):
    """Sources, the version of their profiles, and how long ago each sent something."""


@command("sources export", "sources:export_source")
class SourcesExport(StoreOption, ForceOption):
    """The profile of a source as TOML, to keep, to change, or for ingest --source."""

    name: str = argument("Name of the source.", "NAME")
    version: int | None = option("Version [default: the newest].")
    out: Path | None = option("Write to a new file.", metavar="FILE")


@command("sources import", "sources:import_source")
class SourcesImport(StoreOption):
    """Store a profile from a TOML file: files with its headers are then read by it."""

    file: Path = argument("A source profile (TOML).", "FILE")


@command("starter", "starting:starter")
class Starter(StoreOption, PolicyOption, ForceOption):
    """Write a starter kit: forms to fill in, a diary to print, a policy file, a schedule.

    A registry workbook with lists and checks; a home diary for each dressing, on A4 and Letter; the
    workbook in which diaries are typed, with its source profile; a policy file that explains every
    setting; an hourly ingest. Its README.txt leads from there to the first call list.
    """

    folder: Path = argument("Where the kit is put.", "FOLDER")
    texts: Path | None = option(
        "Texts of diary and workbook: the kit's texts.toml, translated.", metavar="FILE"
    )
    time_zone: str | None = option(
        "The programme's time zone, for the policy file, such as Asia/Tokyo.", metavar="ZONE"
    )


@command("refused", "loading:refused")
class Refused(StoreOption, Output):
    """Rows that could not be used: where, why, and how to fix them."""

    write: Path | None = option("Write files to fix and ingest again.", metavar="FOLDER")


@command("doubts", "doubting:doubts")
class Doubts(StoreOption, Output):
    """Rows that are used but odd, and why; entries that look like corrections with the earlier one."""


@command("doubts void", "doubting:void")
class DoubtsVoid(StoreOption):
    """Void a log entry without a number of its own, because a later one corrects it."""

    row: int = argument("Its number, in the column earlier_row of doubts.", "ROW")
    undo: bool = flag("Undo that: the entry counts again.")
