"""Which families were called without an answer, when last, and on how many days in a row?"""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import day_number, days_of
from analysis.vocabulary import CallOutcome

ROW_GAP_DAYS = 3
"""Days with attempts at most this far apart are in a row, so that a weekend does not break it."""


def reached(calls: pd.DataFrame) -> npt.NDArray[np.bool_]:
    """Whether each recorded call reached the family."""
    return (calls["outcome"] == CallOutcome.REACHED).to_numpy(dtype=bool)


def with_days_back(calls: pd.DataFrame, recheck_days: int) -> pd.DataFrame:
    """Give calls without a day for the next one (`recheck_on`) the policy's number of days."""
    usual = calls["called_on"] + pd.Timedelta(days=recheck_days)
    return calls.assign(recheck_on=calls["recheck_on"].fillna(usual))


def attempts_of(calls: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """Find the calls without an answer since each family was last reached.

    Parameters
    ----------
    calls : DataFrame
        Columns of `KNOWN["calls"]`, made up to the as-of day, oldest first.
    as_of : date
        Day of the list.

    Returns
    -------
    DataFrame
        One row a family with an attempt in a row that is not over: `tried_at` (UTC) and
        `tried_on`, moment and day of the newest; `attempt_days`, days in a row with attempts
        only. By family code. A row is over when the family is reached, or when its newest day
        is more than `ROW_GAP_DAYS` before the as-of day.

    *Source:* project definition, definitions §7.
    """
    spoken = reached(calls)
    last = calls.loc[spoken].groupby("family_id")["called_at"].max()
    answered = calls["called_at"] <= calls["family_id"].map(last)
    open_ = calls[~spoken & ~answered.to_numpy(dtype=bool)]
    # Before: one row an attempt, oldest first; after: one row a family and day of attempts.
    days = open_.drop_duplicates(["family_id", "called_on"], keep="last")
    days = days.sort_values(["family_id", "called_on"], kind="stable")
    on = days_of(days["called_on"])
    family, _ = pd.factorize(days["family_id"])
    starts = np.ones(len(days), dtype=bool)
    starts[1:] = (family[1:] != family[:-1]) | (np.diff(on) > ROW_GAP_DAYS)
    row = np.cumsum(starts) - 1
    newest = np.append(family[1:] != family[:-1], True)[: len(days)]
    fresh = newest & (day_number(as_of) - on <= ROW_GAP_DAYS)
    found = days.assign(attempt_days=np.bincount(row)[row] if len(row) else row)[fresh]
    return found.rename(columns={"called_at": "tried_at", "called_on": "tried_on"}).set_index(
        "family_id"
    )[["tried_at", "tried_on", "attempt_days"]]
