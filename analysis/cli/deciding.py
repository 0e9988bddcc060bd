"""Commands on what to do next: whom to retrain, and how well the calling order does."""

from __future__ import annotations

from datetime import date, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import numpy as np
import numpy.typing as npt
import pandas as pd
import typer

from analysis.cli.fitting import Judge
from analysis.cli.options import (
    DEFAULT_STORE,
    AsOfOption,
    ForceOption,
    FormatOption,
    KnownAtOption,
    OutOption,
    PolicyOption,
    StoreOption,
    snapshot,
)
from analysis.cli.output import show
from analysis.cli.replaying import replay
from analysis.decisions.asked import family_languages
from analysis.decisions.backtest import HORIZON_DAYS, Replayed, backtest, calibration, preceded
from analysis.decisions.capacity import capacity, kits_running_out
from analysis.decisions.later_events import later_events
from analysis.decisions.learning import learning_curve
from analysis.decisions.order import order_words
from analysis.decisions.order_file import fits_of, read_fits
from analysis.decisions.practice import practice
from analysis.decisions.refreshers import refreshers, refreshers_by_family
from analysis.decisions.retraining import not_signed_off, retraining
from analysis.decisions.sessions import SMALLEST_GROUP, group_sessions
from analysis.decisions.whatif import whatif
from analysis.measures import MeasureError
from analysis.policy import Policy, load_policy


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("retraining")(retraining_)
    app.command("backtest")(backtest_)
    app.command("whatif")(whatif_)
    app.command("capacity")(capacity_)


def day_of(text: str) -> date:
    """Read a date of an option."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is no date; write it like 2031-03-01") from None


class Needs(StrEnum):
    """Which table of retraining."""

    STEPS = "steps"
    """Family, caregiver and step."""
    NOT_SIGNED_OFF = "not-signed-off"
    """Caregivers who lately changed without a current sign-off."""
    SESSIONS = "sessions"
    """Group sessions: which families of a site share a step."""
    LEARNING = "learning"
    """Share missed by number of changes done since the first sign-off."""
    REFRESHERS = "refreshers"
    """What was missed before and after refreshers, and after equally bad spells."""
    FAMILY_REFRESHERS = "family-refreshers"
    """The same for each family's last refresher."""


def retraining_(
    table: Annotated[
        Needs,
        typer.Option(
            "--show",
            help="steps by family and caregiver; not-signed-off; sessions for groups; learning "
            "by changes done; refreshers: did they help; family-refreshers: each family's last.",
        ),
    ] = Needs.STEPS,
    since: Annotated[
        date | None,
        typer.Option(
            "--since", parser=day_of, metavar="DATE", help="Steps and sessions: from this day on."
        ),
    ] = None,
    size: Annotated[
        int | None,
        typer.Option(
            "--size", min=SMALLEST_GROUP, help="Sessions: at most so many families [default: all]."
        ),
    ] = None,
    by_language: Annotated[
        bool, typer.Option("--by-language", help="Sessions: each in one language.")
    ] = False,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Which family and caregiver needs retraining on which step, and which rows show it."""
    seen = snapshot(store, policy, as_of, known_at)
    known = (seen.timeline, seen.records, seen.policy)
    if table is Needs.STEPS:
        found = retraining(*known, since)
    elif table is Needs.NOT_SIGNED_OFF:
        found = not_signed_off(*known)
    elif table is Needs.SESSIONS:
        languages = family_languages(seen.records) if by_language else None
        found = group_sessions(retraining(*known, since), seen.timeline, languages, size)
    elif table is Needs.LEARNING:
        found = learning_curve(practice(*known), seen.records)
    elif table is Needs.REFRESHERS:
        found = refreshers(practice(*known), seen.records)
    else:
        found = refreshers_by_family(practice(*known), seen.records)
    show(found, form, out, force=force)


class Split(StrEnum):
    """By what families are split in a backtest."""

    ALL = "all"
    SITE = "site"
    LOG_COVERAGE = "log_coverage"


class Judged(StrEnum):
    """Which table of a backtest."""

    ORDERS = "orders"
    """Orders of calling compared at the capacity."""
    PRECEDED = "preceded"
    """Later events by kind, and how many had a reason to call before."""
    CALIBRATION = "calibration"
    """How often an event followed, by band and reason."""


def backtest_(
    first: Annotated[
        date, typer.Option("--from", parser=day_of, metavar="DATE", help="First morning.")
    ],
    last: Annotated[date, typer.Option("--to", parser=day_of, metavar="DATE", help="Last one.")],
    capacity: Annotated[
        int | None,
        typer.Option("--capacity", min=1, help="Calls a day [default: all that are listed]."),
    ] = None,
    by: Annotated[Split, typer.Option("--by", help="How to split the families.")] = Split.ALL,
    order: Annotated[
        Path | None,
        typer.Option(
            "--order", metavar="FILE", help="Fitted orders to judge [default: the policy's]."
        ),
    ] = None,
    table: Annotated[
        Judged,
        typer.Option(
            "--show",
            help="orders of calling compared; preceded: events with a reason to call before; "
            "calibration: events by band and reason.",
        ),
    ] = Judged.ORDERS,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Replay past mornings by what was known then, and count what came in the 7 days after.

    Compared: the order of the rules, days since the last change only, calls at random, and the
    fitted order, where one was fitted by what was known before the mornings (linedays refit).
    Events: skin events, unplanned removals, three days out of date, as known on the as-of day.
    """
    seen = snapshot(store, policy, as_of, known_at)
    days = _mornings(first, last, seen.as_of)
    replayed = Replayed.of(replay(store, policy, days), later_events(seen.timeline, seen.records))
    expected = _expected(replayed.mornings, order, seen.policy)
    if table is Judged.ORDERS:
        recheck = seen.edition.settings.recheck_days
        found = backtest(replayed, capacity, by, expected, recheck)
    elif table is Judged.PRECEDED:
        found = preceded(replayed)
    else:
        found = calibration(replayed, expected)
    show(found, form, out, force=force)


def _mornings(first: date, last: date, as_of: date) -> list[date]:
    """Mornings to replay; what came in the days after each has to be known."""
    if last < first:
        raise MeasureError(f"--to {last} is before --from {first}; give the earlier day first.")
    end = as_of - timedelta(days=HORIZON_DAYS)
    if last > end:
        raise MeasureError(
            f"The {HORIZON_DAYS} days from {last} on are not over on {as_of}; give --to {end} or "
            "earlier, or a later --as-of."
        )
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def _expected(
    mornings: pd.DataFrame, path: Path | None, policy: Policy
) -> npt.NDArray[np.float64] | None:
    """Expected shares by the fitted orders in use on each morning; without any a sentence."""
    fits = fits_of(policy) if path is None else read_fits(path)
    if fits is None:
        typer.echo(
            "linedays: the policy names no fitted order, so none is judged; fit one with linedays "
            "refit FILE --as-of the first morning, and judge it with --order FILE.",
            err=True,
        )
        return None
    told = Judge(fits, policy).expected(mornings)
    if told is None:
        last = mornings["morning"].max().date()
        typer.echo(
            "linedays: no fitted order was in use on these mornings, so none is judged. "
            f"{order_words(fits, policy.on(last), last, last)}",
            err=True,
        )
    elif (by_rules := np.unique(mornings["morning"].to_numpy()[np.isnan(told)])).size:
        typer.echo(
            f"linedays: on {by_rules.size} of these mornings no fitted order was in use; there "
            "the expected benefit stands for the rule order.",
            err=True,
        )
    return told


WEEKS_BACK = 28
"""Mornings replayed where none are named."""


def whatif_(
    other_policy: Annotated[
        Path, typer.Option("--with", metavar="FILE", help="Policy file to compare with.")
    ],
    first: Annotated[
        date | None,
        typer.Option(
            "--from", parser=day_of, metavar="DATE", help="First morning [default: 28 of them]."
        ),
    ] = None,
    last: Annotated[
        date | None,
        typer.Option(
            "--to", parser=day_of, metavar="DATE", help="Last one [default: 7 days before as-of]."
        ),
    ] = None,
    most: Annotated[
        int | None, typer.Option("--capacity", min=1, help="Calls a day, present policy.")
    ] = None,
    other_most: Annotated[
        int | None,
        typer.Option("--with-capacity", min=1, help="Calls a day, other policy [--capacity]."),
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Two policies side by side on the same past mornings; no policy is changed by it."""
    other = load_policy(other_policy)
    seen = snapshot(store, policy, as_of, known_at)
    last = last or seen.as_of - timedelta(days=HORIZON_DAYS)
    first = first or last - timedelta(days=WEEKS_BACK - 1)
    days = _mornings(first, last, seen.as_of)
    lines = seen.timeline.lines
    nurse = lines.drop_duplicates("family_id", keep="last").set_index("family_id")["nurse"]
    found = whatif(
        replay(store, policy, days),
        replay(store, other_policy, days),
        later_events(seen.timeline, seen.records),
        nurse,
        (most, other_most or most),
        (seen.edition.settings.recheck_days, other.on(seen.as_of).settings.recheck_days),
    )
    show(found, form, out, force=force)


class Ahead(StrEnum):
    """Which table of what is to come."""

    DAYS = "days"
    """Changes due and calls to expect by site and day."""
    KITS = "kits"
    """Families whose kits run out before the next delivery."""


def capacity_(
    table: Annotated[
        Ahead,
        typer.Option("--show", help="days: changes and calls by site; kits: running out."),
    ] = Ahead.DAYS,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
    force: ForceOption = False,
) -> None:
    """Changes due, calls to expect and kits running out in the next 14 days."""
    seen = snapshot(store, policy, as_of, known_at)
    if table is Ahead.KITS:
        found = kits_running_out(seen.timeline, seen.records, seen.policy)
    else:
        days = [seen.as_of - timedelta(days=n) for n in range(WEEKS_BACK, 0, -1)]
        found = capacity(seen.timeline, replay(store, policy, days), seen.edition.settings)
    show(found, form, out, force=force)
