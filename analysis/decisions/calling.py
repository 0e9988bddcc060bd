"""How many families were listed and called on past mornings, and how did the list change?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from itertools import pairwise

import pandas as pd

from analysis.decisions.attempts import reached
from analysis.decisions.calls import CallList
from analysis.tables.planning import CALLING, LIST_CHANGE
from analysis.vocabulary import Band, Reason


def calling(lists: Mapping[date, CallList], calls: pd.DataFrame) -> pd.DataFrame:
    """Count families on each morning's list, and the calls made until the next.

    Parameters
    ----------
    lists : mapping of date to CallList
        The lists, by morning, in order.
    calls : DataFrame
        Recorded calls, columns of `KNOWN["calls"]`.

    Returns
    -------
    DataFrame
        Columns of `CALLING`. Calls made on or after the last morning are not counted.

    *Source:* project definition, definitions §7.
    """
    ends = [*(b for _, b in pairwise(lists)), None]
    rows = []
    for (morning, found), end in zip(lists.items(), ends, strict=True):
        made = calls[calls["called_on"] >= pd.Timestamp(morning)]
        made = made[made["called_on"] < pd.Timestamp(end)] if end else made
        by_band = found.families["band"].value_counts()
        rows.append(
            {
                "morning": pd.Timestamp(morning),
                "listed": int(found.families["rank"].notna().sum()),
                "same_day_review": int(by_band.get(str(Band.SAME_DAY_REVIEW), 0)),
                "call_today": int(by_band.get(str(Band.CALL_TODAY), 0)),
                "call_this_week": int(by_band.get(str(Band.CALL_THIS_WEEK), 0)),
                "waiting": int(by_band.get(str(Band.WAITING), 0)),
                "set_aside": int(by_band.get(str(Band.SET_ASIDE), 0)),
                "made": len(made) if end else None,
                "reached": int(reached(made).sum()) if end else None,
            }
        )
    frame = pd.DataFrame(rows, columns=CALLING.names)
    return CALLING.check(frame.astype({c.name: c.dtype for c in CALLING.columns}))


def list_change(earlier: CallList, later: CallList) -> pd.DataFrame:
    """Count families with each reason on two mornings, and those with it only on the later.

    Returns
    -------
    DataFrame
        Columns of `LIST_CHANGE`, reasons in their order; without reasons that no family had.

    *Source:* project definition, definitions §7.
    """
    rows = []
    for reason in Reason:
        then, now = (_with(found, reason) for found in (earlier, later))
        if then or now:
            rows.append((str(reason), len(then), len(now), len(now - then), len(then - now)))
    frame = pd.DataFrame(rows, columns=LIST_CHANGE.names)
    return LIST_CHANGE.check(frame.astype({c.name: c.dtype for c in LIST_CHANGE.columns}))


def _with(found: CallList, reason: Reason) -> set[str]:
    has = (found.reasons["reason"] == str(reason)).to_numpy(dtype=bool)
    return set(found.reasons.loc[has, "family_id"])
