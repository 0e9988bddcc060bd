"""Which options do commands share, and what do they open?"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.output import Format
from analysis.measures import Limits
from analysis.policy import Policy, load_policy
from analysis.snapshot import Snapshot, take
from analysis.store import Store
from analysis.vocabulary import Basis

DEFAULT_STORE = "sqlite:///linedays.sqlite"


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no date; write it like 2031-03-01") from None


StoreOption = Annotated[
    str,
    typer.Option("--store", envvar="LINEDAYS_STORE", help="Store, as an SQLAlchemy URL."),
]
PolicyOption = Annotated[
    Path | None, typer.Option("--policy", help="The programme's policy file (TOML).")
]
AsOfOption = Annotated[
    date | None,
    typer.Option("--as-of", parser=_day, metavar="DATE", help="Day to look at [default: today]."),
]
KnownAtOption = Annotated[
    date | None,
    typer.Option(
        "--known-at",
        parser=_day,
        metavar="DATE",
        help="Leave out what was received after this day [default: the as-of day].",
    ),
]
FormatOption = Annotated[
    Format | None,
    typer.Option("--format", help="[default: table on a terminal, else csv]"),
]
LimitsOption = Annotated[Limits, typer.Option("--limits", help="Kind of 95 % limits.")]
EventOption = Annotated[
    str, typer.Option("--event", help="'skin', a finding code of the policy or an outcome.")
]
BasisOption = Annotated[
    Basis | None,
    typer.Option(
        "--basis",
        help="Count every line's days, or a child's day once "
        "[default: child for bloodstream_infection, else line]",
    ),
]
OutOption = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="Write to a new file.")
]
ForceOption = Annotated[
    bool, typer.Option("--force", help="Replace a file that exists; never a store.")
]


def today(policy: Policy) -> date:
    """Today in the programme's time zone."""
    return datetime.now(policy.zone).date()


@contextmanager
def opened(store_url: str, *, create: bool = False) -> Iterator[Store]:
    """Open a store and close it again.

    Raises
    ------
    StoreError
        It does not exist (unless `create`), is locked, or is newer than this program.
    """
    store = Store.open(store_url, create=create)
    try:
        yield store
    finally:
        store.close()


def snapshot(
    store_url: str, policy_file: Path | None, as_of: date | None, known_at: date | None
) -> Snapshot:
    """Take the snapshot that a reading command was asked for."""
    policy = load_policy(policy_file)
    with opened(store_url) as store:
        return take(store, policy, as_of or today(policy), known_at)
