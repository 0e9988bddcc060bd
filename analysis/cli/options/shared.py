"""Which options do most commands share?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

DEFAULT_STORE = "sqlite:///linedays.sqlite"
SHARED = ("store", "policy", "as_of", "known_at", "form", "out", "force")
"""Fields in the order in which a command's help lists them, after its own."""


class Format(StrEnum):
    """Shape of the output."""

    TABLE = "table"
    CSV = "csv"
    JSON = "json"


def day(text: str) -> date:
    """Read a date."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a date; write it like 2031-03-01") from None


@dataclass(frozen=True, kw_only=True)
class StoreOption:
    """Which store."""

    store: Annotated[
        str,
        typer.Option("--store", envvar="LINEDAYS_STORE", help="Store, as an SQLAlchemy URL."),
    ] = DEFAULT_STORE


@dataclass(frozen=True, kw_only=True)
class PolicyOption:
    """Which policy."""

    policy: Annotated[
        Path | None, typer.Option("--policy", help="The programme's policy file (TOML).")
    ] = None


@dataclass(frozen=True, kw_only=True)
class AsOfOption:
    """Which day."""

    as_of: Annotated[
        date | None,
        typer.Option(
            "--as-of", parser=day, metavar="DATE", help="Data up to this day [default: today]."
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class KnownAtOption:
    """What was known."""

    known_at: Annotated[
        date | None,
        typer.Option(
            "--known-at",
            parser=day,
            metavar="DATE",
            help="Leave out rows received after this day [default: the as-of day].",
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class ForceOption:
    """Whether files may be replaced."""

    force: Annotated[
        bool, typer.Option("--force", help="Replace a file that exists; never a store.")
    ] = False


@dataclass(frozen=True, kw_only=True)
class Output(ForceOption):
    """Where a table goes, and in which shape."""

    form: Annotated[
        Format | None, typer.Option("--format", help="[default: table on a terminal, else csv]")
    ] = None
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write to a new file.")
    ] = None


@dataclass(frozen=True, kw_only=True)
class OnADay(StoreOption, PolicyOption, AsOfOption, KnownAtOption):
    """What a snapshot is taken with."""


@dataclass(frozen=True, kw_only=True)
class Reading(OnADay, Output):
    """What a command needs that reads a store and returns a table."""
