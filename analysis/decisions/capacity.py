"""Which changes and calls are due in the next two weeks, and which kits run out?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, dates_of, day_number, days_of
from analysis.decisions.daily_capacity import possible_by_site
from analysis.decisions.day import Day
from analysis.decisions.reasons import FINDERS
from analysis.policy import Policy, Settings
from analysis.tables.planning import CAPACITY, KITS
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Reason, Task

DAYS_AHEAD = 14
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

Ints = npt.NDArray[np.int64]


def _dressings_due(timeline: Timeline) -> pd.DataFrame:
    """One row a line at home with an interval in force: line, next due day, interval (days)."""
    spans = timeline.intervals
    here = timeline.lines["at_home"].to_numpy(dtype=bool)
    open_ = (spans["task"] == Task.DRESSING) & (spans["ended_by"] == "as_of")
    open_ &= spans["interval_days"].notna()
    own = spans[open_.to_numpy(dtype=bool) & here[spans["line"].to_numpy()]]
    today = day_number(timeline.as_of)
    return pd.DataFrame(
        {
            "line": own["line"].to_numpy(),
            # What is overdue is due today.
            "next_due": np.maximum(days_of(own["allowed_until"]), today),
            "every": own["interval_days"].to_numpy(dtype=np.int64),
        }
    )


def _due_days(due: pd.DataFrame, until: int) -> tuple[Ints, Ints]:
    """Line and day of each change due before a day, were each done on its last day on time."""
    start, every = due["next_due"].to_numpy(), due["every"].to_numpy()
    count = np.maximum((until - 1 - start) // every + 1, 0)
    which = np.repeat(np.arange(len(due)), count)
    nth = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    return due["line"].to_numpy()[which], start[which] + nth * every[which]


def capacity(timeline: Timeline, mornings: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Count the changes due and the calls to expect, by site, on each of the next 14 days.

    Parameters
    ----------
    timeline : Timeline
        Of the as-of day. Each dressing is taken to be changed on its last day on time and to
        keep its interval; lines are taken to stay at home.
    mornings : DataFrame
        Columns of `MORNINGS`: replayed mornings of the weeks before, whose lists by weekday
        are used for those to come.
    settings : Settings
        Of the policy edition in force; they limit how many calls a nurse can make.

    Returns
    -------
    DataFrame
        Columns of `CAPACITY`, by site and day.
    """
    first = day_number(timeline.as_of)
    lines = timeline.lines[timeline.lines["at_home"]]
    sites = sorted(lines["site"].unique())
    place = pd.Index(sites).get_indexer(pd.Index(timeline.lines["site"]))
    line, day = _due_days(_dressings_due(timeline), first + DAYS_AHEAD)
    due = np.zeros((len(sites), DAYS_AHEAD), dtype=np.int64)
    np.add.at(due, (place[line], day - first), 1)
    days = np.tile(np.arange(first, first + DAYS_AHEAD), len(sites))
    site = np.repeat(np.array(sites, dtype=object), DAYS_AHEAD)
    weekday = (days + 3) % 7  # 1970-01-01 was a Thursday
    by_weekday = _listed_by_weekday(mornings).reindex(pd.MultiIndex.from_arrays([site, weekday]))
    frame = pd.DataFrame(
        {
            "site": pd.array(site, dtype="string"),
            "day": dates_of(days),
            "weekday": pd.array(np.array(WEEKDAYS, dtype=object)[weekday], dtype="string"),
            "lines": np.bincount(place[lines["line"]], minlength=len(sites)).repeat(DAYS_AHEAD),
            "changes_due": due.ravel(),
            "families_listed": by_weekday["mean"].to_numpy(dtype=np.float64),
            "fewest_listed": by_weekday["min"].astype("Int64").array,
            "most_listed": by_weekday["max"].astype("Int64").array,
            "calls_possible": possible_by_site(timeline, settings)
            .reindex(sites)
            .to_numpy(dtype=np.int64)
            .repeat(DAYS_AHEAD),
        }
    )
    return CAPACITY.check(frame)


def _listed_by_weekday(mornings: pd.DataFrame) -> pd.DataFrame:
    """Families listed by site and weekday (0: Monday): mean, min, max over its mornings."""
    listed = mornings["rank"].notna().astype("int64")
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
    line, day = _due_days(_dressings_due(timeline), horizon)
    taken = pd.DataFrame({"family_id": lines["family_id"].array.take(line), "day": day})
    taken = taken.sort_values(["family_id", "day"], kind="stable")
    taken["nth"] = taken.groupby("family_id").cumcount()
    without = taken.merge(counted, on="family_id")
    without = without[without["nth"] == np.maximum(without["left"], 0)]
    delivery = _next_delivery(records, lines, today)
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


def _next_delivery(records: Records, lines: pd.DataFrame, today: int) -> pd.Series[int]:
    """Day of the next delivery by family, where it can be calculated."""
    log = records.home_log
    counts = log[
        (log["kits_left"].notna() & (days_of(log["done_on"]) <= today)).to_numpy(dtype=bool)
    ]
    counts = counts.sort_values(["family_id", "done_on", "done_at", "row"], na_position="first")
    left = counts["kits_left"].to_numpy(dtype=np.int64)
    same = counts["family_id"].eq(counts["family_id"].shift()).fillna(False).to_numpy(dtype=bool)
    rose = same & (left > np.concatenate([[0], left[:-1]])[: len(left)])
    came = pd.Series(days_of(counts["done_on"])[rose], index=counts["family_id"].to_numpy()[rose])
    last = came.groupby(level=0).max()
    own = records.lines[records.lines["line_id"].isin(lines.loc[lines["at_home"], "line_id"])]
    every = own.dropna(subset="kit_delivery_days").groupby("family_id")["kit_delivery_days"].min()
    last = last[last.index.isin(every.index)]
    step = every.reindex(last.index).to_numpy(dtype=np.int64)
    ahead = np.maximum((today - last.to_numpy()) // step + 1, 1)
    return pd.Series(last.to_numpy() + ahead * step, index=last.index)
