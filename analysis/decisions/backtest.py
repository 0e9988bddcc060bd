"""Had these lists been called, how many of the later events would a call have come before?

Replayed mornings (what was known then) are laid against what happened in the seven days that begin
with each. The calling order is set against as many calls made at random and by days since the last
dressing change only. It tells how well a list foresees; not what a call would have changed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.decisions.replayed import Replayed
from analysis.decisions.scores import auc_within, net_benefit
from analysis.stats.bootstrap import cluster_share_interval
from analysis.tables.backtest import BACKTEST, CALIBRATION, PRECEDED
from analysis.vocabulary import Band

WORTH = 0.05
"""Risk at which a call is just worth it, for net benefit: one event foreseen is worth 19 calls
in vain (project choice)."""
COVERAGES = ((0.95, "log coverage 95 % or more"), (0.8, "log coverage 80 to 95 %"),
             (0.0, "log coverage under 80 %"))  # fmt: skip
RULE, BY_DAYS, AT_RANDOM = "rule order", "days since change", "at random"
BY_BENEFIT = "expected benefit"
DRAWS, SEED, FEWEST_FAMILIES = 500, 20310401, 5

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


def orders_of(replayed: Replayed, expected: Floats | None = None) -> dict[str, Floats]:
    """Score of every family-morning by each order of calling; a higher one is called first.

    Parameters
    ----------
    replayed : Replayed
        It holds the rule order.
    expected : float array, optional
        Expected share by the fitted order, to four decimals: one more order takes the rules'
        bands, and in each the higher share first; alike, or nan, they are in the order of the rules.
    """
    frame, n = replayed.mornings, len(replayed.mornings)
    rank: Floats = np.asarray(frame["rank"].astype("Float64").to_numpy(na_value=np.inf), np.float64)
    since = frame["days_since_change"].astype("Float64").to_numpy(na_value=1e6)
    days: Floats = np.asarray(since, dtype=np.float64)
    scores: dict[str, Floats] = {
        RULE: -rank,
        BY_DAYS: days,
        AT_RANDOM: np.random.default_rng(SEED).random(n),
    }
    if expected is None:
        return scores
    urgency = frame["band"].cat.codes.to_numpy(dtype=np.float64)
    unlisted = np.where(np.isfinite(rank), 0.0, len(Band))
    by_rules = 1e-5 / (1 + rank)  # less than the last decimal of a share
    return {**scores, BY_BENEFIT: np.nan_to_num(expected) + by_rules - urgency - unlisted}


def called(
    replayed: Replayed,
    score: Floats,
    capacity: int | None,
    recheck_days: int = 0,
    places: Ints | None = None,
) -> Flags:
    """Which families an order calls, morning by morning, the families with the highest score first.

    Parameters
    ----------
    replayed : Replayed
        Families that wait after a recorded call are not called.
    score : float array
        By family-morning; equal scores: by family code.
    capacity : int or None
        Most calls a morning.
    recheck_days : int
        A family called here is off the list as after a recorded call: days until it may be called again.
    places : int64 array, optional
        Calls of each morning; None: as many as the rules list.

    Returns
    -------
    bool array
        By family-morning.
    """
    days, number = np.unique(replayed.day, return_inverse=True)
    listed = replayed.mornings["rank"].notna().to_numpy(dtype=bool)
    order = np.lexsort((replayed.family, -score, number))
    ends = np.cumsum(np.bincount(number, minlength=len(days)))
    n_families = int(replayed.family.max()) + 1 if len(days) else 0
    free_on = np.full(n_families, np.iinfo(np.int64).min, dtype=np.int64)
    can, chosen = replayed.callable, np.zeros(len(order), dtype=bool)
    for at, day in enumerate(days):  # one turn a morning
        rows = order[ends[at - 1] if at else 0 : ends[at]]
        rows = rows[can[rows] & (free_on[replayed.family[rows]] <= day)]
        most = int(listed[rows].sum()) if places is None else int(places[at])
        take = rows[: most if capacity is None else min(most, capacity)]
        chosen[take] = True
        free_on[replayed.family[take]] = day + recheck_days
    return chosen


def backtest(
    replayed: Replayed,
    capacity: int | None = None,
    by: str = "all",
    expected: Floats | None = None,
    recheck_days: int = 0,
) -> pd.DataFrame:
    """Compare orders of calling by what they foresaw.

    Parameters
    ----------
    replayed : Replayed
        Mornings and later events.
    capacity : int or None
        Calls a day; None: all families that the rules list.
    by : str
        ``all``, ``site`` or ``log_coverage`` (share of a family's mornings on which it was not
        silent). The call list is made for all families; groups only split what came of it.
    expected : float array, optional
        Expected share of each family-morning, judged as one more order.
    recheck_days : int
        As for :func:`called`. Every order makes as many calls a morning as the rules do.

    Returns
    -------
    DataFrame
        Columns of `BACKTEST`; limits resample families and need five of them.

    *Source:* project definition; precision, lift and net benefit as in `decisions.scores`.
    """
    groups = groups_of(replayed, by)
    rows = []
    days, number = np.unique(replayed.day, return_inverse=True)
    places = None
    for name, score in orders_of(replayed, expected).items():
        chosen = called(replayed, score, capacity, recheck_days, places)
        if places is None:
            places = np.bincount(number, weights=chosen, minlength=len(days)).astype(np.int64)
        lead = replayed.lead_days(chosen)
        for group, (of_rows, of_events) in groups.items():
            judged = _judged(replayed, score, chosen, of_rows)
            rows.append(
                {
                    "judged_by": replayed.kind,
                    "order": name,
                    "group": group,
                    **judged,
                    **_found(lead[of_events], judged),
                }
            )
    return BACKTEST.build({n: [r[n] for r in rows] for n in BACKTEST.names})


def groups_of(replayed: Replayed, by: str) -> dict[str, tuple[Flags, Flags]]:
    """By group which family-mornings and which events are in it; a family is in one group."""
    n = int(replayed.family.max()) + 1 if len(replayed.family) else 0
    if by == "all":
        label = np.full(n, "all", dtype=object)
    elif by == "site":
        label = np.full(n, "", dtype=object)
        label[replayed.family] = replayed.mornings["site"].to_numpy(dtype=object)
    else:
        heard = ~replayed.mornings["silent"].to_numpy(dtype=bool)
        share = np.bincount(replayed.family, weights=heard) / np.bincount(replayed.family)
        label = np.select([share >= low for low, _ in COVERAGES], [w for _, w in COVERAGES], "")
    return {
        str(one): (label[replayed.family] == one, label[replayed.event_family] == one)
        for one in sorted(set(label.tolist()))
    }


def _judged(replayed: Replayed, score: Floats, chosen: Flags, of_rows: Flags) -> dict[str, Any]:
    at = of_rows & replayed.callable
    event, call = replayed.event[at], chosen[at]
    day, family = np.unique(replayed.day[at], return_inverse=True)[1], replayed.family[at]
    calls, hits = int(call.sum()), int((call & event).sum())
    # Chance of each family-morning to be called, were the day's calls made at random.
    chance = np.bincount(day, weights=call) / np.maximum(np.bincount(day), 1)
    expected = np.where(event, chance[day], 0.0)
    n = int(family.max()) + 1 if len(family) else 0
    by_family: list[Floats] = [
        np.bincount(family, weights=w, minlength=n).astype(np.float64)
        for w in (call & event, call, expected)
    ]
    shares = cluster_share_interval(*(s.astype(np.int64) for s in by_family[:2]))
    low, high = _ratio_limits(by_family[0], by_family[2])
    return {
        "families": len(np.unique(family)),
        "family_mornings": len(event),
        "calls": calls,
        "hits": hits,
        "precision": shares.share[0],
        "precision_lower": shares.lower[0],
        "precision_upper": shares.upper[0],
        "prevalence": event.mean() if len(event) else np.nan,
        "lift": hits / expected.sum() if expected.sum() else np.nan,
        "lift_lower": low,
        "lift_upper": high,
        "auc": auc_within(event, score[at], day) if len(event) else np.nan,
        "net_benefit": net_benefit(event, call, WORTH),
        "net_benefit_of_all": net_benefit(event, np.ones(len(event), dtype=bool), WORTH),
    }


def _ratio_limits(top: Floats, bottom: Floats) -> tuple[float, float]:
    """95 % percentile limits of a ratio of sums, families drawn again."""
    kept = (top > 0) | (bottom > 0)
    top, bottom = top[kept], bottom[kept]
    if len(top) < FEWEST_FAMILIES:
        return np.nan, np.nan
    draws = np.random.default_rng(SEED).multinomial(
        len(top), np.full(len(top), 1 / len(top)), DRAWS
    )
    below = draws @ bottom
    ratio = (draws @ top)[below > 0] / below[below > 0]
    return float(np.quantile(ratio, 0.025)), float(np.quantile(ratio, 0.975))


def _found(lead: Ints, about: dict[str, Any]) -> dict[str, Any]:
    found = lead >= 0
    n = int(found.sum())
    return {
        "events": len(lead),
        "events_called": n,
        "share_called": n / len(lead) if len(lead) else np.nan,
        "median_lead_days": float(np.median(lead[found])) if n else np.nan,
        "calls_per_event": about["calls"] / n if n else np.nan,
    }


def preceded(replayed: Replayed) -> pd.DataFrame:
    """Tell by kind of event how many were preceded by any reason to call.

    Returns
    -------
    DataFrame
        Columns of `PRECEDED`: all events first, then by kind. A reason on the morning of the
        event itself was known before it and counts, with a lead of 0 days.

    *Source:* project definition.
    """
    lead = replayed.lead_days(replayed.mornings["reasons"].notna().to_numpy(dtype=bool))
    kinds = ["all", *sorted(set(replayed.event_kind.tolist()))]
    rows = []
    for kind in kinds:
        at = (replayed.event_kind == kind) | (kind == "all")
        found = lead[at] >= 0
        family = replayed.event_family[at]
        shares = cluster_share_interval(
            np.bincount(family, weights=found).astype(np.int64), np.bincount(family)
        )
        rows.append(
            {
                "event": kind,
                "events": len(found),
                "preceded": int(found.sum()),
                "share": shares.share[0] if len(found) else np.nan,
                "lower": shares.lower[0] if len(found) else np.nan,
                "upper": shares.upper[0] if len(found) else np.nan,
                "median_lead_days": np.median(lead[at][found]) if found.any() else np.nan,
            }
        )
    return PRECEDED.build({n: [r[n] for r in rows] for n in PRECEDED.names})


def calibration(replayed: Replayed, expected: Floats | None = None) -> pd.DataFrame:
    """How often was there an event, by band, by reason, and by tenth of the expected share?

    Returns
    -------
    DataFrame
        Columns of `CALIBRATION`. A family-morning counts in its band and in each of its reasons.

    *Source:* project definition.
    """
    frame = replayed.mornings
    reasons = frame["reasons"].fillna("").str.split(";")
    codes = sorted({code for given in reasons for code in given} - {""})
    groups = [("band", str(b), (frame["band"] == b).to_numpy(dtype=bool)) for b in Band]
    padded = ";" + frame["reasons"].fillna("") + ";"
    groups += [
        ("reason", c, padded.str.contains(f";{c};", regex=False).to_numpy(dtype=bool))
        for c in codes
    ]
    given = None if expected is None else ~np.isnan(expected)
    if expected is not None and given is not None and given.any():
        tenth = np.minimum((np.argsort(np.argsort(expected)) * 10) // int(given.sum()), 9)
        groups += [("predicted", f"tenth {t + 1} of 10", (tenth == t) & given) for t in range(10)]
    rows = []
    for kind, group, at in groups:
        if not at.any():
            continue
        family = replayed.family[at]
        shares = cluster_share_interval(
            np.bincount(family, weights=replayed.event[at]).astype(np.int64), np.bincount(family)
        )
        rows.append(
            {
                "kind": kind,
                "group": group,
                "family_mornings": int(at.sum()),
                "predicted": np.nan if expected is None else expected[at].mean(),
                "with_event": int(replayed.event[at].sum()),
                "observed": shares.share[0],
                "lower": shares.lower[0],
                "upper": shares.upper[0],
            }
        )
    return CALIBRATION.build({n: [r[n] for r in rows] for n in CALIBRATION.names})
