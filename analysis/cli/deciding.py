"""Commands on what to do next: whom to retrain, and how well the calling order does."""

from __future__ import annotations

from datetime import date, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import numpy as np
import numpy.typing as npt
import typer

from analysis.cli.options import (
    DEFAULT_STORE,
    AsOfOption,
    FormatOption,
    KnownAtOption,
    OutOption,
    PolicyOption,
    StoreOption,
    snapshot,
)
from analysis.cli.output import show
from analysis.cli.replaying import replay
from analysis.decisions.backtest import HORIZON_DAYS, Replayed, backtest, calibration, preceded
from analysis.decisions.expected_benefit import FEWEST_FAMILIES, fit_model, read_model
from analysis.decisions.later_events import later_events
from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import practice
from analysis.decisions.refreshers import refreshers
from analysis.decisions.retraining import group_sessions, not_signed_off, retraining
from analysis.measures import MeasureError


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("retraining")(retraining_)
    app.command("backtest")(backtest_)


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


def retraining_(
    table: Annotated[
        Needs,
        typer.Option(
            "--show",
            help="steps by family and caregiver; not-signed-off; sessions for groups; learning "
            "by changes done; refreshers: did they help.",
        ),
    ] = Needs.STEPS,
    since: Annotated[
        date | None,
        typer.Option(
            "--since", parser=day_of, metavar="DATE", help="Steps and sessions: from this day on."
        ),
    ] = None,
    store: StoreOption = DEFAULT_STORE,
    policy: PolicyOption = None,
    as_of: AsOfOption = None,
    known_at: KnownAtOption = None,
    form: FormatOption = None,
    out: OutOption = None,
) -> None:
    """Which family and caregiver needs retraining on which step, and which rows show it."""
    seen = snapshot(store, policy, as_of, known_at)
    known = (seen.timeline, seen.records, seen.policy)
    if table is Needs.STEPS:
        found = retraining(*known, since)
    elif table is Needs.NOT_SIGNED_OFF:
        found = not_signed_off(*known)
    elif table is Needs.SESSIONS:
        found = group_sessions(retraining(*known, since), seen.timeline)
    elif table is Needs.LEARNING:
        found = learning_curve(practice(*known), seen.records)
    else:
        found = refreshers(practice(*known), seen.records)
    show(found, form, out)


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
    fit: Annotated[
        Path | None,
        typer.Option("--fit", metavar="FILE", help="Fit a risk to these mornings and write it."),
    ] = None,
    predict: Annotated[
        Path | None,
        typer.Option("--predict", metavar="FILE", help="Judge a fitted risk, on later mornings."),
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
) -> None:
    """Replay past mornings by what was known then, and count what came in the 7 days after.

    Events: skin events, unplanned removals, three days out of date, as known on the as-of day.
    """
    if last < first:
        raise MeasureError(f"--to {last} is before --from {first}; give the earlier day first.")
    seen = snapshot(store, policy, as_of, known_at)
    end = seen.as_of - timedelta(days=HORIZON_DAYS)
    if last > end:
        raise MeasureError(
            f"The {HORIZON_DAYS} days after {last} are not over on {seen.as_of}; give --to {end} "
            "or earlier, or a later --as-of."
        )
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    replayed = Replayed.of(replay(store, policy, days), later_events(seen.timeline, seen.records))
    if fit is not None:
        _write_model(replayed, fit)
    risk = _risk(replayed, predict, first)
    if table is Judged.ORDERS:
        recheck = seen.edition.settings.recheck_days
        found = backtest(replayed, capacity, by, risk, recheck)
    elif table is Judged.PRECEDED:
        found = preceded(replayed)
    else:
        found = calibration(replayed, risk)
    show(found, form, out)


def _write_model(replayed: Replayed, path: Path) -> None:
    model = fit_model(replayed)
    if model is None:
        typer.echo(
            f"linedays: fewer than {FEWEST_FAMILIES} families with an event on these mornings; no "
            "risk is fitted and the rule order stays in use.",
            err=True,
        )
        return
    path.write_text(model.text(), encoding="utf-8")
    typer.echo(
        f"linedays: risk fitted to {model.family_mornings} family-mornings written to {path}; "
        "the call list keeps the rule order.",
        err=True,
    )


def _risk(replayed: Replayed, path: Path | None, first: date) -> npt.NDArray[np.float64] | None:
    if path is None:
        return None
    model = read_model(path)
    if first.isoformat() <= model.fitted_to:
        typer.echo(
            f"linedays: {path} was fitted to mornings up to {model.fitted_to}; on these it looks "
            "better than it is. Judge it on later ones.",
            err=True,
        )
    return model.risk(replayed.mornings)
