"""What would change with another policy: calls a day, overdue shown, events foreseen, workload?

Both policies are replayed on the same mornings, and judged by the same later events: those by the
policy in force. Nothing of a policy is changed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.decisions.backtest import RULE, called, orders_of
from analysis.decisions.replayed import Replayed
from analysis.tables.planning import WHATIF
from analysis.vocabulary import Band, Reason


def whatif(
    present: pd.DataFrame,
    other: pd.DataFrame,
    events: pd.DataFrame,
    nurse_of: pd.Series[str],
    capacity: tuple[int | None, int | None] = (None, None),
    recheck_days: tuple[int, int] = (0, 0),
) -> pd.DataFrame:
    """Lay what two policies would list on the same mornings side by side.

    Parameters
    ----------
    present, other : DataFrame
        Columns of `MORNINGS`, replayed by the policy in force and by the other one.
    events : DataFrame
        Columns of `LATER_EVENTS`, by the policy in force.
    nurse_of : Series
        Caseload holder by family code.
    capacity, recheck_days : pair
        Of each policy; see :func:`analysis.decisions.backtest.called`.

    Returns
    -------
    DataFrame
        Columns of `WHATIF`: quantities of all families, then families listed a day by nurse.
    """
    sides = [
        _counted(Replayed.of(frame, events), nurse_of, most, rest)
        for frame, most, rest in zip((present, other), capacity, recheck_days, strict=True)
    ]
    keys = list(dict.fromkeys([*sides[0], *sides[1]]))
    # A nurse without anybody listed by one policy has 0 there.
    values = [[side.get(key, 0.0) for key in keys] for side in sides]
    return WHATIF.build(
        {
            "quantity": [quantity for quantity, _ in keys],
            "group": [group for _, group in keys],
            "present": values[0],
            "other": values[1],
            "difference": np.subtract(values[1], values[0]),
        }
    )


def _counted(
    replayed: Replayed, nurse_of: pd.Series[str], capacity: int | None, recheck_days: int
) -> dict[tuple[str, str], float]:
    frame = replayed.mornings
    days = max(frame["morning"].nunique(), 1)
    listed = frame["rank"].notna().to_numpy(dtype=bool)
    chosen = called(replayed, orders_of(replayed)[RULE], capacity, recheck_days)
    reasons = ";" + frame["reasons"].fillna("") + ";"
    overdue = reasons.str.contains(f";{Reason.OVERDUE};", regex=False).to_numpy(dtype=bool)
    by_reason, by_call = replayed.lead_days(listed), replayed.lead_days(chosen)
    counts_by = {
        ("families listed a day", "all"): listed.sum() / days,
        **{
            (f"{str(band).replace('_', ' ')} a day", "all"): (frame["band"] == band).sum() / days
            for band in (Band.SAME_DAY_REVIEW, Band.CALL_TODAY, Band.CALL_THIS_WEEK)
        },
        ("families shown overdue a day", "all"): overdue.sum() / days,
        ("calls a day", "all"): chosen.sum() / days,
        ("later events", "all"): float(len(by_reason)),
        ("later events after a reason to call", "all"): float((by_reason >= 0).sum()),
        ("later events after a call", "all"): float((by_call >= 0).sum()),
    }
    nurse = frame.loc[listed, "family_id"].map(nurse_of).fillna("not recorded")
    for name, count in nurse.value_counts().sort_index().items():
        counts_by[("families listed a day", str(name))] = count / days
    return counts_by
