"""Options of the commands that ingest files and return refused rows."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from analysis.cli.options.declared import argument, command, flag, option
from analysis.cli.options.shared import Output, PolicyOption, StoreOption


@command("ingest", "loading:ingest_files")
class Ingest(StoreOption, PolicyOption, Output):
    """Ingest log files into the store; rows that can't be used are refused and kept for fixing."""

    paths: list[Path] = argument("Files or folders.", "PATH…")
    source: str | None = option("Source profile: a name or a TOML file.", metavar="PROFILE")
    table: str | None = option("Table the files hold.", metavar="TABLE")
    received_at: datetime | None = option("When the clinic got the rows [default: now].")
    dry_run: bool = flag(
        "Show what the files would become: columns found, first rows as read, what would be "
        "refused and why. Nothing is stored."
    )
    history: bool = flag(
        "History: rows count as received on the day they were done (an assumption)."
    )


@command("refused", "loading:refused")
class Refused(StoreOption, Output):
    """Rows that could not be used: where, why, and how to fix them."""

    write: Path | None = option("Write files to fix and ingest again.", metavar="FOLDER")
