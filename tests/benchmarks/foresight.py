"""Does an order fitted to the log foresee harm better than the rules? Prints; run as

    python -m tests.benchmarks.foresight [families] [seed]

It makes a programme in which skin events come more often after what the log shows
(`synthetic_data.skin_risk`, which no code of the analysis knows), fits an order to a year of past
mornings, and judges it on the half year after it by harm alone: all families, by site, by log
coverage, and by kind of harm. It is fitted twice: with all features, and without the signs of the
recent log. "Expected harm alone" orders all families by the expected share, without bands; no list
does so. Figures of an invented programme show that what is there is found; not that real harm can
be foreseen.
"""

from __future__ import annotations

import argparse
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.cli.replaying import read_history, replay
from analysis.decisions.backtest import BY_BENEFIT, RULE, backtest
from analysis.decisions.expected_benefit import fit_model
from analysis.decisions.history import morning_of
from analysis.decisions.later_events import HARM, KINDS, later_events
from analysis.decisions.replayed import Replayed
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.tables.backtest import MORNINGS
from analysis.timeline import build
from synthetic_data import generate_blocks, write_canonical

UNTIL = date(2031, 3, 10)
FITTED_ON = UNTIL - timedelta(days=190)
CAPACITY_SHARE = 0.06
"""Calls a morning, as a share of the families at home: fewer than the list is long."""
RECENT = ("days_since_finding", "spoiled_recently", "spoiled_often", "days_since_new_caregiver")
SHOWN = ["order", "group", "families", "calls", "hits", "prevalence", "precision", "lift",
         "lift_lower", "lift_upper", "auc"]  # fmt: skip


def mornings_and_harm(folder: Path, families: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Replay a year and a half of mornings, every second one before the fit."""
    blocks = generate_blocks(families, until=UNTIL, seed=seed)
    write_canonical(blocks, folder / "files", "parquet")
    url = f"sqlite:///{folder / 'store.sqlite'}"
    with Store.open(url) as store:
        at = datetime(UNTIL.year, UNTIL.month, UNTIL.day, 5, tzinfo=UTC)
        ingest(store, [folder / "files"], shipped_policy(), received_at=at, ingested_at=at)
    days = [FITTED_ON - timedelta(days=n) for n in range(365, 7, -3)]
    days += [FITTED_ON + timedelta(days=n) for n in range(182)]
    policy = shipped_policy()
    records = read_history(url).records(morning_of(UNTIL, policy))
    return replay(url, None, days), later_events(build(records, policy, UNTIL), records)


def without_recent(mornings: pd.DataFrame) -> pd.DataFrame:
    """The same mornings as if the log showed none of the recent signs."""
    none = {"spoiled_recently": 0, "spoiled_often": 0}
    blank = dict.fromkeys(set(RECENT) - set(none), pd.NA)
    types = {c.name: c.dtype for c in MORNINGS.columns if c.name in RECENT}
    return mornings.assign(**none, **blank).astype(types)


def main(families: int, seed: int) -> None:
    """Print lift with limits of each order."""
    policy = shipped_policy()
    with tempfile.TemporaryDirectory() as folder:
        mornings, events = mornings_and_harm(Path(folder), families, seed)
    past = (mornings["morning"] < pd.Timestamp(FITTED_ON - timedelta(days=7))).to_numpy()
    later = mornings[~past]
    later = later[(later["morning"] >= pd.Timestamp(FITTED_ON)).to_numpy()]
    capacity = round(CAPACITY_SHARE * len(later) / later["morning"].nunique())
    print(f"{families} families, seed {seed}, {capacity} calls a morning\n")
    known = events[(events["on"] < pd.Timestamp(FITTED_ON)).to_numpy()]
    judged = Replayed.of(later, events, HARM)
    edition = policy.on(FITTED_ON).version
    for name, of in (("all features", lambda m: m), ("without recent signs", without_recent)):
        fitted = fit_model(
            Replayed.of(of(mornings[past]), known, HARM), FITTED_ON, policy.name, edition
        )
        if fitted is None:
            print(f"{name}: too few families with harm to fit")
            continue
        expected = fitted.share(of(judged.mornings))
        print(f"{name}: fitted to {fitted.families_with_event} families with harm\n")
        for by in ("all", "site", "log_coverage"):
            table = backtest(judged, capacity, by, expected, recheck_days=2)
            print(table[SHOWN].round(3).to_string(index=False), "\n")
        for kind in KINDS[HARM]:
            one = replace(Replayed.of(later, events[(events["event"] == kind).to_numpy()]))
            table = backtest(one, capacity, "all", expected, recheck_days=2)
            table = table[table["order"].isin([RULE, BY_BENEFIT]).to_numpy()]
            print(kind, "\n", table[SHOWN].round(3).to_string(index=False), "\n")
        free = judged.mornings.assign(
            band="call_today", rank=_ranks(judged, expected), reasons="expected"
        )
        free["band"] = pd.Categorical(
            free["band"], categories=judged.mornings["band"].cat.categories
        )
        alone = backtest(replace(judged, mornings=free), capacity, "all", None, recheck_days=2)
        alone = alone[(alone["order"] == RULE).to_numpy()].assign(order="expected harm alone")
        print(alone[SHOWN].round(3).to_string(index=False), "\n", flush=True)


def _ranks(judged: Replayed, expected: np.ndarray) -> pd.array:
    """Place of each family on its morning by expected share, the highest first."""
    frame = pd.DataFrame({"day": judged.day, "share": -expected})
    rank = frame.groupby("day")["share"].rank(method="first").astype("Int64")
    return rank.array


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("families", nargs="?", type=int, default=600)
    parser.add_argument("seed", nargs="?", type=int, default=5)
    options = parser.parse_args()
    main(options.families, options.seed)
