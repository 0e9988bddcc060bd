"""Do caregivers miss less, the more changes they have done since their first sign-off?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.stats.bootstrap import cluster_share_interval
from analysis.tables.records import Records
from analysis.tables.retraining import LEARNING
from analysis.vocabulary import EntryKind, SignOffOutcome, Skill

FIRSTS = (1, 6, 11, 21, 51)
"""First change of each range: the first five, the next five, then ten, thirty, and all later."""


def learning_curve(seen: pd.DataFrame, records: Records) -> pd.DataFrame:
    """Return the share missed by step and by number of changes done since the first sign-off.

    The number of a change counts the caregiver's own dressing changes from the day of the first
    ``independent`` sign-off on, days with a change and not rows. Occasions of caregivers never
    signed off, or before it, are left out.

    Parameters
    ----------
    seen : DataFrame
        Columns of `PRACTICE`.
    records : Records
        Home log and sign-offs.

    Returns
    -------
    DataFrame
        Columns of `LEARNING`, by step and range; limits resample families. A range that no one
        reached has no row.

    *Source:* project definition, definitions §8.
    """
    first_on = _first_sign_off(records)
    named = seen[seen["caregiver_id"].notna().to_numpy()]
    start = days_of(named["caregiver_id"].map(first_on).astype("datetime64[s]"))
    later = (start != NO_DAY) & (days_of(named["done_on"]) >= start)
    named = named[later].assign(nth=_number(named[later], records, first_on))
    place = np.searchsorted(FIRSTS, named["nth"].to_numpy(), side="right") - 1
    named = named.assign(place=np.maximum(place, 0))
    # Before: one row an occasion; after: one row a step, range and family.
    by = ["step", "place", "family_id"]
    missed = named["missed"].astype("int64").groupby([named[c] for c in by], observed=True)
    families = missed.agg(["size", "sum"]).reset_index()
    group = families.groupby(["step", "place"], observed=True).ngroup().to_numpy(dtype=np.int64)
    keys = families[["step", "place"]].drop_duplicates(ignore_index=True)
    shares = cluster_share_interval(
        families["sum"].to_numpy(), families["size"].to_numpy(), group, n_groups=len(keys)
    )
    at = keys["place"].to_numpy(dtype=np.int64)
    ends = pd.array([*(f - 1 for f in FIRSTS[1:]), None], dtype="Int64")
    frame = pd.DataFrame(
        {
            "step": keys["step"].astype("string"),
            "first_change": np.array(FIRSTS, dtype=np.int64)[at],
            "last_change": ends.take(at),
            "families": shares.families,
            "seen": shares.denominator,
            "missed": shares.numerator,
            "share": shares.share,
            "lower": shares.lower,
            "upper": shares.upper,
        }
    )
    return LEARNING.check(frame)


def _first_sign_off(records: Records) -> pd.Series[pd.Timestamp]:
    shown = records.sign_offs
    alone = (shown["skill"] == Skill.DRESSING_CHANGE) & (
        shown["outcome"] == SignOffOutcome.INDEPENDENT
    )
    return shown[alone.to_numpy(dtype=bool)].groupby("caregiver_id")["signed_on"].min()


def _number(
    named: pd.DataFrame, records: Records, first_on: pd.Series[pd.Timestamp]
) -> pd.Series[int]:
    """How many days with a change the caregiver has had, from the first sign-off to that day."""
    log = records.home_log
    is_change = (log["kind"] == EntryKind.DRESSING_CHANGE) & log["caregiver_id"].notna()
    done = log.loc[is_change.to_numpy(dtype=bool), ["caregiver_id", "done_on"]].drop_duplicates()
    since = done["caregiver_id"].map(first_on).astype("datetime64[s]")
    done = done[(done["done_on"] >= since).to_numpy(dtype=bool)].sort_values("done_on")
    done = done.assign(nth=done.groupby("caregiver_id", observed=True).cumcount() + 1)
    order = named[["caregiver_id", "done_on"]].astype({"caregiver_id": done["caregiver_id"].dtype})
    order = order.assign(place=np.arange(len(named)))
    numbered = pd.merge_asof(order.sort_values("done_on"), done, on="done_on", by="caregiver_id")
    nth = numbered.set_index("place")["nth"].sort_index().fillna(1).astype("int64")
    return pd.Series(nth.to_numpy(), index=named.index)
