"""The command that fits the order of calling to past mornings, and what judges it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import typer

from analysis.cli.opening import opened, policy_of, today
from analysis.cli.options.deciding import Refit
from analysis.cli.replaying import replay
from analysis.decisions.expected_benefit import FEWEST_FAMILIES, fit_model
from analysis.decisions.fitted_model import Model
from analysis.decisions.history import morning_of
from analysis.decisions.later_events import HARM, later_events
from analysis.decisions.order import model_on
from analysis.decisions.order_file import Fits, add_fit
from analysis.decisions.replayed import HORIZON_DAYS, Replayed
from analysis.measures.counts import MeasureError
from analysis.policy import Policy
from analysis.snapshot import take

EVERY_DAYS = 3
"""Mornings next to each other are almost the same; every third one is replayed, so that all days
of the week come."""
TOO_FEW = (
    f"Fewer than {FEWEST_FAMILIES} families with harm on the past mornings, too few for a "
    "fitted order; nothing is written and the order in use stays."
)
_NOTHING_WRITTEN = 3


def refit(asked: Refit) -> None:
    """Fit the order within a band and add it to a file."""
    with opened(asked.store) as store:
        settings = policy_of(store, asked.policy)
    path = asked.file or settings.order_file
    if path is None:
        raise MeasureError(
            "Name the file to write, for example: linedays refit order.toml. With order_file = "
            '"order.toml" in the policy file it needs no name, and the call list uses it.'
        )
    day = asked.as_of or today(settings)
    model = fitted(asked.store, asked.policy, day, asked.days)
    if model is None:
        typer.echo(f"linedays: {TOO_FEW}", err=True)
        raise typer.Exit(_NOTHING_WRITTEN)
    add_fit(path, model)
    used = settings.order_file is not None and settings.order_file.resolve() == path.resolve()
    named = "" if used else f' once the policy file has order_file = "{path.name}"'
    typer.echo(
        f"linedays: order fitted to {model.family_mornings} mornings of {model.families} families "
        f"({model.families_with_event} with harm) written to {path}; the call list uses it "
        f"from {day} on{named}.",
        err=True,
    )


def fitted(
    store_url: str, policy_file: Path | None, day: date, days: int = Refit.days
) -> Model | None:
    """Fit to the mornings whose next 7 days were over and known before a day; None: too few.

    Only mornings of the policy edition in force on the day, as another one counts otherwise.
    """
    # The file that the policy names may be the one that is to be written.
    with opened(store_url) as opened_store:
        policy = replace(opened_store.policy_for(policy_file), order_file=None)
    last = day - timedelta(days=HORIZON_DAYS)
    edition = policy.on(day)
    first = day - timedelta(days=days)
    mornings = [last - timedelta(days=n) for n in range(0, (last - first).days + 1, EVERY_DAYS)]
    mornings = [m for m in mornings[::-1] if policy.on(m) == edition]
    with opened(store_url) as opened_store:
        seen = take(opened_store, policy, day, morning_of(day, policy))
    rows = replay(store_url, policy_file, mornings)
    replayed = Replayed.of(rows, later_events(seen.timeline, seen.records), HARM)
    return fit_model(replayed, day, policy.name, edition.version)


@dataclass(frozen=True)
class Judge:
    """Expected shares of replayed mornings, each by the fit that was in use on it."""

    fits: Fits
    policy: Policy

    def expected(self, mornings: pd.DataFrame) -> npt.NDArray[np.float64] | None:
        """By row of `MORNINGS`, nan on mornings of the rule order; None if all are."""
        shares = np.full(len(mornings), np.nan)
        on = mornings["morning"].dt.date.to_numpy()
        by_fit: dict[int, list[date]] = {}
        for day in np.unique(on).tolist():
            model = model_on(self.fits, self.policy.on(day), day, day)
            if model is not None:
                by_fit.setdefault(self.fits.models.index(model), []).append(day)
        for at, days in by_fit.items():
            rows = pd.Index(on).isin(days)
            shares[rows] = self.fits.models[at].share(mornings[rows])
        return shares if by_fit else None
