"""Which options do most commands share?"""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path

from analysis.cli.options.declared import flag, option, options

DEFAULT_STORE = "sqlite:///linedays.sqlite"
SHARED = (
    "partitions",
    "processes",
    "cluster",
    "store",
    "policy",
    "as_of",
    "known_at",
    "form",
    "out",
    "force",
)
"""Fields in the order in which a command's help lists them, after its own."""


class Format(StrEnum):
    """Shape of the output."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"


@options
class StoreOption:
    """Which store."""

    store: str = option(
        "Store, as an SQLAlchemy URL.", default=DEFAULT_STORE, envvar="LINEDAYS_STORE"
    )


@options
class PolicyOption:
    """Which policy."""

    policy: Path | None = option("The programme's policy file (TOML).")


@options
class AsOfOption:
    """Which day."""

    as_of: date | None = option("Data up to this day [default: today].")


@options
class KnownAtOption:
    """What was known."""

    known_at: date | None = option(
        "Leave out rows received after this day [default: the as-of day]."
    )


@options
class ForceOption:
    """Whether files may be replaced."""

    force: bool = flag("Replace a file that exists; never a store.")


@options
class Output(ForceOption):
    """Where a table goes, and in which shape."""

    form: Format | None = option("[default: table on a terminal, else csv]", name="format")
    out: Path | None = option("Write to a new file.", metavar="FILE")


@options
class OnADay(StoreOption, PolicyOption, AsOfOption, KnownAtOption):
    """What a snapshot is taken with."""


@options
class Reading(OnADay, Output):
    """What a command needs that reads a store and returns a table."""


@options
class Partitioned(Reading):
    """Where the families are calculated in parts."""

    partitions: Path | None = option(
        "Read this folder instead of a store; 'linedays export partitions' writes it.",
        metavar="FOLDER",
    )
    processes: int = option("With --partitions: calculate in N processes.", default=1, min=1)
    cluster: str | None = option(
        "With --partitions: calculate on the workers of this Dask scheduler (tcp://host:port).",
        metavar="ADDRESS",
    )
