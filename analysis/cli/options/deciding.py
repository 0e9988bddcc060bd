"""Options of the commands on what to do next, and on how well the calling order does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analysis.cli.options.shared import AsOfOption, PolicyOption, Reading, StoreOption, day


@dataclass(frozen=True, kw_only=True)
class Since(Reading):
    """From a day on."""

    since: Annotated[
        date | None,
        typer.Option("--since", parser=day, metavar="DATE", help="Changes from this day on."),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Retraining(Since):
    """Which family and caregiver needs retraining on which step, and which rows show it."""


@dataclass(frozen=True, kw_only=True)
class RetrainingSignOffs(Reading):
    """Caregivers who recently changed a dressing without a current sign-off."""


@dataclass(frozen=True, kw_only=True)
class RetrainingSessions(Since):
    """Group sessions: which families of a site need the same step."""

    size: Annotated[
        int | None,
        typer.Option("--size", min=3, help="Most families in a session [default: all]."),
    ] = None
    by_language: Annotated[
        bool, typer.Option("--by-language", help="Each session in one language.")
    ] = False


@dataclass(frozen=True, kw_only=True)
class RetrainingLearning(Reading):
    """Share of steps missed by number of changes done since the first sign-off."""


@dataclass(frozen=True, kw_only=True)
class RetrainingRefreshers(Reading):
    """Did refreshers help: steps missed afterwards, against similar periods without one."""


@dataclass(frozen=True, kw_only=True)
class RetrainingLastRefresher(Reading):
    """Steps missed before and after the last refresher of each family."""


class Split(StrEnum):
    """How families are split in a backtest."""

    ALL = "all"
    SITE = "site"
    LOG_COVERAGE = "log_coverage"


@dataclass(frozen=True, kw_only=True)
class Replaying(Reading):
    """Past mornings."""

    first: Annotated[
        date, typer.Option("--from", parser=day, metavar="DATE", help="First morning.")
    ]
    last: Annotated[date, typer.Option("--to", parser=day, metavar="DATE", help="Last morning.")]


@dataclass(frozen=True, kw_only=True)
class OrderOption:
    """Which fitted orders."""

    order: Annotated[
        Path | None,
        typer.Option(
            "--order", metavar="FILE", help="Fitted orders to judge [default: the policy's]."
        ),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Backtest(Replaying, OrderOption):
    """Orders of calling compared on past mornings, by what came in the 7 days after.

    Each morning is replayed by what was known then. Compared: the order of the rules, days since
    the last change only, calls at random, and the fitted order, where one was fitted by what was
    known before the mornings (linedays refit). Judged by harm (skin events, unplanned removals,
    confirmed infections), and apart from it by process (dressings not yet overdue that become three
    days out of date), as known on the as-of day.
    """

    capacity: Annotated[
        int | None,
        typer.Option("--capacity", min=1, help="Calls a day [default: all that are listed]."),
    ] = None
    by: Annotated[Split, typer.Option("--by", help="How to split the families.")] = Split.ALL


@dataclass(frozen=True, kw_only=True)
class BacktestEvents(Replaying):
    """Later events by kind, and how many had a reason to call before."""


@dataclass(frozen=True, kw_only=True)
class BacktestCalibration(Replaying, OrderOption):
    """How often harm followed, by band and reason."""


@dataclass(frozen=True, kw_only=True)
class WhatIf(Reading):
    """Two policies compared on the same past mornings; neither policy file is changed."""

    other_policy: Annotated[
        Path, typer.Option("--with", metavar="FILE", help="Policy file to compare with.")
    ]
    first: Annotated[
        date | None,
        typer.Option(
            "--from", parser=day, metavar="DATE", help="First morning [default: 28 mornings]."
        ),
    ] = None
    last: Annotated[
        date | None,
        typer.Option(
            "--to", parser=day, metavar="DATE", help="Last one [default: 7 days before as-of]."
        ),
    ] = None
    most: Annotated[
        int | None, typer.Option("--capacity", min=1, help="Calls a day, present policy.")
    ] = None
    other_most: Annotated[
        int | None,
        typer.Option("--with-capacity", min=1, help="Calls a day, other policy [--capacity]."),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Capacity(Reading):
    """Changes due and calls to expect in the next 14 days, by site and day."""


@dataclass(frozen=True, kw_only=True)
class CapacityKits(Reading):
    """Families whose dressing kits run out before the next delivery."""


@dataclass(frozen=True, kw_only=True)
class Refit(StoreOption, PolicyOption, AsOfOption):
    """Fit the order within a band to past mornings, by what was known on the as-of morning.

    It is in use from that day on where the policy names the file: order_file = "order.toml".
    """

    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="File of fitted orders [default: the policy's]."),
    ] = None
    days: Annotated[int, typer.Option("--days", min=28, max=3660, help="Days to look back on.")] = (
        182
    )
