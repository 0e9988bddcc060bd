"""Commands on what to do next: whom to retrain, and how well the calling order does."""

from __future__ import annotations

from datetime import date
from enum import StrEnum
from typing import Annotated

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
from analysis.decisions.learning import learning_curve
from analysis.decisions.practice import practice
from analysis.decisions.refreshers import refreshers
from analysis.decisions.retraining import group_sessions, not_signed_off, retraining


def add_to(app: typer.Typer) -> None:
    """Register the commands."""
    app.command("retraining")(retraining_)


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
