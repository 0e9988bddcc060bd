"""Which changes and calls are due in the next two weeks, and which kits run out?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, dates_of, day_number, days_of
from analysis.decisions.daily_capacity import possible_by_site
from analysis.decisions.day import Day
from analysis.decisions.planned_changes import ahead
from analysis.decisions.reasons import FINDERS
from analysis.policy import Policy
from analysis.tables.planning import CAPACITY, KITS
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Reason

DAYS_AHEAD = 14
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

Ints = npt.NDArray[np.int64]


def capacity(
    timeline: Timeline, records: Records, policy: Policy, mornings: pd.DataFrame
) -> pd.DataFrame:
    """Count the changes due and the calls to expect, by site, on each of the next 14 days.

    Parameters
    ----------
    timeline : Timeline
        Of the as-of day. Each dressing is taken to be changed on its last day on time; lines are
        taken to stay at home.
    records : Records
        Orders and sites that are known to hold from a day ahead count from that day on.
    policy : Policy
        Its edition in force limits how many calls a nurse can make.
    mornings : DataFrame
        Columns of `TO_CALL`: mornings of the weeks before, whose lists by weekday
        are used for those to come.

    Returns
    -------
    DataFrame
        Columns of `CAPACITY`, by site and day.
    """
    first = day_number(timeline.as_of)
    coming = ahead(timeline, records, policy, first + DAYS_AHEAD)
    of_day = coming.on_each_day(DAYS_AHEAD)
    sites = sorted(of_day["site"].unique())
    due, lines = (
        _by_site_and_day(table, sites, first)
        for table in (coming.changes(timeline, first + DAYS_AHEAD), of_day)
    )
    days = np.tile(np.arange(first, first + DAYS_AHEAD), len(sites))
    site = np.repeat(np.array(sites, dtype=object), DAYS_AHEAD)
    weekday = (days + 3) % 7  # 1970-01-01 was a Thursday
    by_weekday = _listed_by_weekday(mornings).reindex(pd.MultiIndex.from_arrays([site, weekday]))
    settings = policy.on(timeline.as_of).settings
    possible = possible_by_site(timeline, settings).reindex(sites, fill_value=0)
    frame = pd.DataFrame(
        {
            "site": pd.array(site, dtype="string"),
            "day": dates_of(days),
            "weekday": pd.array(np.array(WEEKDAYS, dtype=object)[weekday], dtype="string"),
            "lines": lines.ravel(),
            "changes_due": due.ravel(),
            "families_listed": by_weekday["mean"].to_numpy(dtype=np.float64),
            "fewest_listed": by_weekday["min"].astype("Int64").array,
            "most_listed": by_weekday["max"].astype("Int64").array,
            "calls_possible": possible.to_numpy(dtype=np.int64).repeat(DAYS_AHEAD),
        }
    )
    return CAPACITY.check(frame)


def _by_site_and_day(table: pd.DataFrame, sites: list[str], first: int) -> Ints:
    """How many rows each site has on each day ahead, shape (sites, days)."""
    counts = np.zeros((len(sites), DAYS_AHEAD), dtype=np.int64)
    place = pd.Index(sites, dtype="string").get_indexer(pd.Index(table["site"], dtype="string"))
    np.add.at(counts, (place, table["day"].to_numpy(dtype=np.int64) - first), 1)
    return counts


def _listed_by_weekday(mornings: pd.DataFrame) -> pd.DataFrame:
    """Families listed by site and weekday (0: Monday): mean, min, max over its mornings."""
    listed = mornings["to_call"].astype("int64")
    each = listed.groupby([mornings["site"].astype("object"), mornings["morning"]]).sum()
    site, day = (each.index.get_level_values(n) for n in ("site", "morning"))
    weekday = pd.DatetimeIndex(day).dayofweek.astype(np.int64)
    return each.groupby([site, weekday]).agg(["mean", "min", "max"])


def kits_running_out(timeline: Timeline, records: Records, policy: Policy) -> pd.DataFrame:
    """List families whose dressing kits run out before the next delivery.

    Kits left are calculated as for the reason to call: the last count less the changes since. Then
    each dressing due takes one. The next delivery is `kit_delivery_days` (the shortest of the
    family's lines) after the last day on which a count was higher than the one before, moved
    on to the first such day after the as-of day; where that is not known, a family is listed
    when its kits run out within 14 days.

    Returns
    -------
    DataFrame
        Columns of `KITS`, the first to run out first. A family that never counted is not there.
    """
    counted = _kits(timeline, records, policy)
    lines = timeline.lines
    today = day_number(timeline.as_of)
    horizon = today + 400
    coming = ahead(timeline, records, policy, horizon)
    taken = coming.changes(timeline, horizon)[["family_id", "day"]]
    taken = taken.sort_values(["family_id", "day"], kind="stable")
    taken["nth"] = taken.groupby("family_id").cumcount()
    without = taken.merge(counted, on="family_id")
    without = without[without["nth"] == np.maximum(without["left"], 0)]
    delivery = _next_delivery(Day(timeline, records, policy.on(timeline.as_of)), today)
    known = without["family_id"].map(delivery).astype("Int64")
    before = without["day"] < known.fillna(today + DAYS_AHEAD).to_numpy(dtype=np.int64)
    out = without.assign(delivery=known)[before.to_numpy()]
    here = lines[lines["at_home"]].drop_duplicates("family_id").set_index("family_id")["site"]
    frame = pd.DataFrame(
        {
            "family_id": out["family_id"].astype("string"),
            "site": out["family_id"].map(here).astype("string"),
            "counted_on": out["done_on"],
            "kits_left": out["kits_left"].astype("int64"),
            "used": out["used"].astype("int64"),
            "runs_out_on": dates_of(out["day"]),
            "delivery_on": dates_of(out["delivery"].fillna(NO_DAY).to_numpy(dtype=np.int64)),
            "row": out["row"].astype("int64"),
        }
    )
    return KITS.check(frame.sort_values(["runs_out_on", "family_id"], ignore_index=True))


def _kits(timeline: Timeline, records: Records, policy: Policy) -> pd.DataFrame:
    """Last count of every family with a line at home: done_on, kits_left, used, left, row."""
    edition = policy.on(timeline.as_of)
    everybody = replace(edition, settings=replace(edition.settings, kits_low=10**9))
    found = FINDERS[Reason.KITS_SHORT](Day(timeline, records, everybody)).reasons
    return found[["family_id", "done_on", "kits_left", "used", "left", "row"]]


def _next_delivery(day: Day, today: int) -> pd.Series[int]:
    """Day of the next delivery by family, where it can be calculated."""
    log = day.log
    counts = log[
        (log["kits_left"].notna() & (days_of(log["done_on"]) <= today)).to_numpy(dtype=bool)
    ]
    counts = counts.sort_values(["family_id", "done_on", "done_at", "row"], na_position="first")
    left = counts["kits_left"].to_numpy(dtype=np.int64)
    same = counts["family_id"].eq(counts["family_id"].shift()).fillna(False).to_numpy(dtype=bool)
    rose = same & (left > np.concatenate([[0], left[:-1]])[: len(left)])
    came = pd.Series(days_of(counts["done_on"])[rose], index=counts["family_id"].to_numpy()[rose])
    last = came.groupby(level=0).max()
    lines = day.records.lines
    family = lines["line_id"].map(day.lines.set_index("line_id")["family_id"])
    every = lines["kit_delivery_days"].groupby(family).min().dropna()
    last = last[last.index.isin(every.index)]
    step = every.reindex(last.index).to_numpy(dtype=np.int64)
    ahead = np.maximum((today - last.to_numpy()) // step + 1, 1)
    return pd.Series(last.to_numpy() + ahead * step, index=last.index)
