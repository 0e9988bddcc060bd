"""How late does what each source sends come in, and how long has the source been quiet?"""

from __future__ import annotations

from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import dates_of
from analysis.measures.late_reports import N_DAYS, WEEK, entries_by_source, lateness_of
from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.statistics import DELAYS

NINE_IN_TEN = 0.9


def delays(records: Records, ingests: pd.DataFrame, policy: Policy, as_of: date) -> pd.DataFrame:
    """Days from what an entry speaks of to its receipt, by source, for what was received lately.

    It covers what was received in the last 26 weeks up to the as-of day, so that an entry
    counts however late it came; what never comes is in none of these figures, and rows loaded as
    history are not either. An entry that was
    corrected counts with the day of its correction. How much of the last week is still to come
    is estimated by `lateness`.

    Parameters
    ----------
    records : Records
        As known at the end of the as-of day.
    ingests : DataFrame
        Which files were stored: names the source of each stored row.
    policy : Policy
        Its time zone.
    as_of : date
        Last day covered.

    Returns
    -------
    DataFrame
        DELAYS, the longest quiet source first. Every source that ever sent an entry is there.

    Notes
    -----
    Quantiles are the least number of days within which at least that share came.

    *Source:* inverse of the empirical distribution function, type 1 of Hyndman and Fan, Am Stat
    1996;50:361 (from memory).
    """
    every = entries_by_source(records, ingests, policy)
    today = int(np.datetime64(as_of, "D").astype(np.int64))
    log = every[every["came"] <= today]
    weeks = lateness_of(every, as_of).weeks
    last_week = weeks[weeks["week_from"] == weeks["week_from"].max()]
    complete = dict(zip(map(_name, last_week["source"]), last_week["completeness"], strict=True))
    rows = []
    for source, entries in log.groupby("source", dropna=False, observed=True):
        newest = int(entries["came"].max())
        known = ~entries["assumed"].to_numpy(dtype=bool)
        recent = entries[(entries["came"] > today - N_DAYS).to_numpy(dtype=bool) & known]
        late = np.asarray((recent["came"] - recent["done"]).clip(lower=0), dtype=np.int64)
        over = int(np.count_nonzero(late > WEEK))
        rows.append(
            {
                "source": source,
                "entries": len(late),
                "median_days": _within(late, 0.5),
                "nine_in_ten_days": _within(late, NINE_IN_TEN),
                "later_than_week": over,
                "later_than_week_share": over / len(late) if len(late) else np.nan,
                "last_week_completeness": complete.get(_name(source), np.nan),
                "last_received_on": dates_of([newest])[0],
                "quiet_days": today - newest,
            }
        )
    empty = DELAYS.empty()
    if not rows:
        return empty
    table = pd.DataFrame(rows)[list(empty.columns)].astype(empty.dtypes.to_dict())
    order = table.sort_values(["quiet_days", "source"], ascending=[False, True], kind="stable")
    return DELAYS.check(order.reset_index(drop=True))


def _name(source: object) -> str:
    return source if isinstance(source, str) else ""


def _within(days: npt.NDArray[np.int64], share: float) -> int | None:
    """Least number of days within which a share came; None where nothing came."""
    return int(np.quantile(days, share, method="inverted_cdf")) if len(days) else None
