"""Commands that replay past mornings: how well does the calling order do, and another policy?"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import typer

from analysis.cli.fitting import Judge
from analysis.cli.opening import snapshot
from analysis.cli.options import deciding as options
from analysis.cli.output import show
from analysis.cli.replaying import RECENT_MORNINGS, replay
from analysis.decisions.backtest import backtest, calibration, preceded
from analysis.decisions.later_events import HARM, KINDS, later_events
from analysis.decisions.order import order_words
from analysis.decisions.order_file import fits_of, read_fits
from analysis.decisions.replayed import HORIZON_DAYS, Replayed
from analysis.decisions.whatif import whatif
from analysis.measures.counts import MeasureError
from analysis.policy import Policy, load_policy
from analysis.snapshot import Snapshot


def orders(asked: options.Backtest) -> None:
    """Compare orders of calling."""
    seen, mornings, later = _replayed(asked)
    by_kind = [Replayed.of(mornings, later, kind) for kind in KINDS]
    expected = _expected(by_kind[0].mornings, asked.order, seen.policy)
    recheck = seen.edition.settings.recheck_days
    tables = [
        backtest(replayed, asked.capacity, asked.by, expected, recheck) for replayed in by_kind
    ]
    show(pd.concat(tables, ignore_index=True), asked)


def events(asked: options.BacktestEvents) -> None:
    """Count events that a reason to call came before."""
    _, mornings, later = _replayed(asked)
    show(preceded(Replayed.of(mornings, later)), asked)


def calibrated(asked: options.BacktestCalibration) -> None:
    """Show how often an event followed."""
    seen, mornings, later = _replayed(asked)
    replayed = Replayed.of(mornings, later, HARM)
    show(calibration(replayed, _expected(replayed.mornings, asked.order, seen.policy)), asked)


def two_policies(asked: options.WhatIf) -> None:
    """Compare two policies."""
    other = load_policy(asked.other_policy)
    seen = snapshot(asked)
    last = asked.last or seen.as_of - timedelta(days=HORIZON_DAYS)
    first = asked.first or last - timedelta(days=RECENT_MORNINGS - 1)
    days = _mornings(first, last, seen.as_of)
    lines = seen.timeline.lines
    nurse = lines.drop_duplicates("family_id", keep="last").set_index("family_id")["nurse"]
    found = whatif(
        replay(asked.store, asked.policy, days),
        replay(asked.store, asked.other_policy, days),
        later_events(seen.timeline, seen.records),
        nurse,
        (asked.most, asked.other_most or asked.most),
        (seen.edition.settings.recheck_days, other.on(seen.as_of).settings.recheck_days),
    )
    show(found, asked)


def _replayed(asked: options.Replaying) -> tuple[Snapshot, pd.DataFrame, pd.DataFrame]:
    """Return the snapshot, the mornings replayed and what came later."""
    seen = snapshot(asked)
    days = _mornings(asked.first, asked.last, seen.as_of)
    later = later_events(seen.timeline, seen.records)
    return seen, replay(asked.store, asked.policy, days), later


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
    shares = Judge(fits, policy).expected(mornings)
    if shares is None:
        last = mornings["morning"].max().date()
        typer.echo(
            "linedays: no fitted order was in use on these mornings, so none is judged. "
            f"{order_words(fits, policy.on(last), last, last)}",
            err=True,
        )
    elif (by_rules := np.unique(mornings["morning"].to_numpy()[np.isnan(shares)])).size:
        typer.echo(
            f"linedays: on {by_rules.size} of these mornings no fitted order was in use; on them "
            "the expected benefit is the order of the rules.",
            err=True,
        )
    return shares
