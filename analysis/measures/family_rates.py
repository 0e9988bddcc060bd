"""Which families have a higher rate than the programme, beyond one bad week?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.measures.counts import counts, is_judged
from analysis.stats.averaged_rates import average_rates
from analysis.stats.intervals import PER
from analysis.tables.statistics import SHRUNK_RATES
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping

TIMES_THE_PROGRAMME = 2.0
"""The limit unless another is named: twice the programme's rate."""


def family_rates(
    tallies: Tallies, event: str, basis: Basis, limit_per_1000: float | None = None
) -> pd.DataFrame:
    """Each family's rate adjusted towards the programme average, and the probability of a high one.

    Parameters
    ----------
    tallies, event, basis
        As for `rates`.
    limit_per_1000 : float or None
        Rate above which a family is called high; None: twice the programme's.

    Returns
    -------
    DataFrame
        SHRUNK_RATES, likeliest above the limit first. Without events no family is high. It is
        a reason to look at the family's rows, not a verdict. A family with too low a log coverage
        is shown with its own rate, and is not part of the average.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* definitions §8; gamma-Poisson as `stats.averaged_rates` describes.
    """
    table = counts(tallies, event, Grouping.FAMILY, basis)
    table = table[table["judged_days"] > 0].reset_index(drop=True)
    events, days = table["events"].to_numpy(), table["judged_days"].to_numpy()
    if not len(table):
        return SHRUNK_RATES.empty()
    judged = is_judged(table, event, tallies)
    programme = events[judged].sum() / max(days[judged].sum(), 1)
    limit = TIMES_THE_PROGRAMME * programme if limit_per_1000 is None else limit_per_1000 / PER
    shrunk, above = np.full((2, len(table)), np.nan)
    if judged.any():
        own = (events[judged], days[judged])
        fitted = average_rates(*own)
        shrunk[judged] = PER * fitted.posterior_mean(*own)
        above[judged] = fitted.probability_above(limit, *own) if own[0].any() else 0.0
    out = pd.DataFrame(
        {
            "family_id": table["group"],
            "events": events,
            "line_days": days,
            "rate_per_1000": PER * events / days,
            "shrunk_rate_per_1000": shrunk,
            "limit_per_1000": float(PER * limit),
            "prob_above": above,
        }
    )
    order = ["prob_above", "events", "family_id"]
    return SHRUNK_RATES.check(
        out.sort_values(order, ascending=[False, False, True], ignore_index=True)
    )
