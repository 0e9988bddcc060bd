"""Options of the commands on what to do next, and on how well the calling order does."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from pathlib import Path

from analysis.cli.options.declared import argument, command, flag, option, options, required
from analysis.cli.options.shared import AsOfOption, PolicyOption, Reading, StoreOption


@options
class Since(Reading):
    """From a day on."""

    since: date | None = option("Changes from this day on.")


@command("retraining", "retraining:steps")
class Retraining(Since):
    """Which family and caregiver needs retraining on which step, and which rows show it."""


@command("retraining sign-offs", "retraining:sign_offs")
class RetrainingSignOffs(Reading):
    """Caregivers who recently changed a dressing without a current sign-off."""


@command("retraining sessions", "retraining:sessions")
class RetrainingSessions(Since):
    """Group sessions: which families of a site need the same step."""

    size: int | None = option("Most families in a session [default: all].", min=3)
    by_language: bool = flag("Each session in one language.")


@command("retraining learning", "learning:learning")
class RetrainingLearning(Reading):
    """Share of steps missed by number of changes done since the first sign-off."""


@command("retraining refreshers", "learning:refresher_effect")
class RetrainingRefreshers(Reading):
    """Did refreshers help: steps missed afterwards, against similar periods without one."""


@command("retraining last-refresher", "learning:last_refresher")
class RetrainingLastRefresher(Reading):
    """Steps missed before and after the last refresher of each family."""


class Split(StrEnum):
    """How families are split in a backtest."""

    ALL = "all"
    SITE = "site"
    LOG_COVERAGE = "log_coverage"


@options
class Replaying(Reading):
    """Past mornings."""

    first: date = required("First morning.", name="from")
    last: date = required("Last morning.", name="to")


@options
class OrderOption:
    """Which fitted orders."""

    order: Path | None = option("Fitted orders to judge [default: the policy's].", metavar="FILE")


@command("backtest", "judging:orders")
class Backtest(Replaying, OrderOption):
    """Orders of calling compared on past mornings, by what came in the 7 days after.

    Each morning is replayed by what was known then. Compared: the order of the rules, days since
    the last change only, calls at random, and the fitted order, where one was fitted by what was
    known before the mornings (linedays refit). Judged by harm (skin events, unplanned removals,
    confirmed infections), and apart from it by process (dressings not yet overdue that become three
    days out of date), as known on the as-of day.
    """

    capacity: int | None = option("Calls a day [default: all that are listed].", min=1)
    by: Split = option("How to split the families.", default=Split.ALL)


@command("backtest events", "judging:events")
class BacktestEvents(Replaying):
    """Later events by kind, and how many had a reason to call before."""


@command("backtest calibration", "judging:calibrated")
class BacktestCalibration(Replaying, OrderOption):
    """How often harm followed, by band and reason."""


@command("whatif", "judging:two_policies")
class WhatIf(Reading):
    """Two policies compared on the same past mornings; neither policy file is changed."""

    other_policy: Path = required("Policy file to compare with.", name="with", metavar="FILE")
    first: date | None = option("First morning [default: 28 mornings].", name="from")
    last: date | None = option("Last one [default: 7 days before as-of].", name="to")
    most: int | None = option("Calls a day, present policy.", name="capacity", min=1)
    other_most: int | None = option(
        "Calls a day, other policy [--capacity].", name="with-capacity", min=1
    )


@command("capacity", "planning:days_ahead")
class Capacity(Reading):
    """Changes due and calls to expect in the next 14 days, by site and day."""


@command("capacity kits", "planning:kits")
class CapacityKits(Reading):
    """Families whose dressing kits run out before the next delivery."""


@command("refit", "fitting:refit")
class Refit(StoreOption, PolicyOption, AsOfOption):
    """Fit the order within a band to past mornings, by what was known on the as-of morning.

    It is in use from that day on where the policy names the file: order_file = "order.toml".
    """

    file: Path | None = argument(
        "File of fitted orders [default: the policy's].", "FILE", default=None
    )
    days: int = option("Days to look back on.", min=28, max=3660, default=182)
