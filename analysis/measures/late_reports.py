"""How late do entries come in, and how much of the last weeks is still to come?

Late is kept apart from never logged: an entry that never comes is in none of these figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analysis.days import days_of
from analysis.measures.completeness import SETTLED
from analysis.policy import Policy
from analysis.stats.delays import (
    DelayTriangle,
    delay_change,
    delay_triangle,
    nowcast,
)
from analysis.tables import Records
from analysis.tables.statistics import DELAY_CHANGE, LATE_REPORTS
from analysis.tallies import Tallies
from analysis.timeline.axis import starts_of_runs
from analysis.vocabulary import Task

WEEKS = 26
"""Weeks covered, up to the as-of day."""
LONGEST_DAYS = 56
"""Entries later than this count with the longest delay that is distinguished."""
WEEK = 7
N_DAYS = WEEK * WEEKS
WEEK_ENDS = slice(WEEK - 1, None, WEEK)
"""Days of the span that end a week; the last is the as-of day."""


@dataclass(frozen=True)
class Lateness:
    """Weeks by source (LATE_REPORTS), and whether delays change (DELAY_CHANGE)."""

    weeks: pd.DataFrame
    change: pd.DataFrame


def lateness(records: Records, ingests: pd.DataFrame, policy: Policy, as_of: date) -> Lateness:
    """Completeness of each recent week by source, and whether delays grew or shrank.

    A delay is the day of receipt in the programme's zone less the day the entry speaks of. How
    complete a week is, is judged by the days that have gone by since its end. Only what was
    received up to the as-of day counts; rows loaded as history show no delay and are left out.

    Parameters
    ----------
    records : Records
        As known at the end of the as-of day.
    ingests : DataFrame
        Which files were stored: names the source of each stored row.
    policy : Policy
        Its time zone.
    as_of : date
        Weeks end on it.

    Returns
    -------
    Lateness
        A source without an entry in the weeks is not there.

    *Source:* as `stats.delays` describes.
    """
    return lateness_of(entries_by_source(records, ingests, policy), as_of)


def lateness_of(entries: pd.DataFrame, as_of: date) -> Lateness:
    """The same of entries as :func:`entries_by_source` gives them."""
    log = _recent(entries, as_of)
    weeks, changes = [], []
    for source, entries in log.groupby("source", dropna=False, observed=True):
        found, moved = nowcast(_since_end_of_week(entries)), delay_change(_by_day(entries))
        start = np.datetime64(as_of, "D") - WEEK * np.arange(WEEKS, 0, -1) + 1
        weeks.append(
            pd.DataFrame(
                {
                    "source": source,
                    "week_from": start,
                    "entries": found.observed[WEEK_ENDS],
                    "completeness": found.completeness[WEEK_ENDS],
                    "expected_entries": found.expected_total[WEEK_ENDS],
                    "lower": found.lower[WEEK_ENDS],
                    "upper": found.upper[WEEK_ENDS],
                    "provisional": ~(found.completeness[WEEK_ENDS] >= SETTLED),
                }
            )
        )
        changes.append(
            {
                "source": source,
                "entries": len(entries),
                "median_delay_days": float(entries["delay"].median()),
                "z": moved.z,
                "p": moved.p,
            }
        )
    return Lateness(
        LATE_REPORTS.check(_as(LATE_REPORTS.empty(), weeks)),
        DELAY_CHANGE.check(_as(DELAY_CHANGE.empty(), [pd.DataFrame(changes)] if changes else [])),
    )


def _as(empty: pd.DataFrame, parts: list[pd.DataFrame]) -> pd.DataFrame:
    if not parts:
        return empty
    return pd.concat(parts, ignore_index=True)[list(empty.columns)].astype(empty.dtypes.to_dict())


def entries_by_source(records: Records, ingests: pd.DataFrame, policy: Policy) -> pd.DataFrame:
    """Every entry with where it came from and when.

    Parameters
    ----------
    records, ingests, policy
        As for `lateness`.

    Returns
    -------
    DataFrame
        One row an entry, in the order of the log: ``source`` (missing: our own form), ``done`` and
        ``came`` (days since 1970-01-01 in the programme's zone), ``assumed`` (loaded as history,
        so that the day it came is not known).
    """
    log = records.home_log[["row", "done_on", "received_at"]]
    received = log["received_at"]
    begins = starts_of_runs(received.to_numpy())  # entries of a file lie together
    moments = received[begins].dt.tz_localize("UTC").dt.tz_convert(policy.zone)
    came = days_of(moments.dt.tz_localize(None))[np.cumsum(begins) - 1]
    files = ingests[ingests["table"] == "home_log"].sort_values("last_row")
    last = files["last_row"].to_numpy(dtype=np.int64)
    at = np.searchsorted(last, log["row"].to_numpy(dtype=np.int64))
    return pd.DataFrame(
        {
            "source": pd.Categorical(files["source"].replace("", None)).take(at),
            "done": days_of(log["done_on"]),
            "came": came,
            "assumed": records.is_assumed("home_log"),
        },
        copy=False,
    )


def _recent(log: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """Entries of the last weeks: source, day of the span (0 the first) and delay in days."""
    end = int(np.datetime64(as_of, "D").astype(np.int64)) + 1
    lately = (log["done"] >= end - N_DAYS) & (log["done"] < end) & (log["came"] < end)
    log = log[lately & ~log["assumed"]]
    return pd.DataFrame(
        {
            "source": log["source"],
            "day": log["done"] - (end - N_DAYS),
            "delay": np.maximum(log["came"] - log["done"], 0),
        }
    ).reset_index(drop=True)


def _by_day(entries: pd.DataFrame) -> DelayTriangle:
    """Entries by the day they speak of and their delay in days."""
    delay = np.minimum(entries["delay"].to_numpy(dtype=np.int64), LONGEST_DAYS)
    return delay_triangle(entries["day"], delay, origins=N_DAYS, delays=LONGEST_DAYS + 1)


def _since_end_of_week(entries: pd.DataFrame) -> DelayTriangle:
    """Entries by the last day of their week and the days from it to their receipt."""
    day = entries["day"].to_numpy(dtype=np.int64)
    week_end = day // WEEK * WEEK + WEEK - 1
    since = np.maximum(day + entries["delay"].to_numpy(dtype=np.int64) - week_end, 0)
    since = np.minimum(since, LONGEST_DAYS)
    return delay_triangle(week_end, since, origins=N_DAYS, delays=LONGEST_DAYS + 1)


def silent_line_days(tallies: Tallies) -> pd.DataFrame:
    """Tally cells of the dressing with the home line-days on which the family was silent."""
    days = tallies.days[(tallies.days["task"] == Task.DRESSING).to_numpy(dtype=bool)]
    return days.assign(silent_days=days["home_line_days"] - days["heard_days"])
