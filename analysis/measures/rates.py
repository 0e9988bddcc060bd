"""How many events per 1000 home line-days, and how sure is that?

These are home line-days, not an NHSN rate, and not a submission to any registry.
"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analysis.measures.counts import counts, family_counts
from analysis.stats.dispersion import clustered_rate_interval
from analysis.stats.intervals import RateInterval, exact_rate_interval, midp_rate_interval
from analysis.tables.measures import RATES
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping, Limits

_LIMITS: dict[Limits, Callable[..., RateInterval]] = {
    Limits.EXACT: exact_rate_interval,
    Limits.MIDP: midp_rate_interval,
}


def rates(tallies: Tallies, event: str, by: Grouping, basis: Basis, limits: Limits) -> pd.DataFrame:
    """Events attributed to home per 1000 home line-days by group, with 95 % limits.

    Parameters
    ----------
    tallies : Tallies
        Additive counts.
    event : str
        ``skin``, a finding code or an outcome.
    by : Grouping
        How to split.
    basis : Basis
        ``line``: every line's day counts; ``child``: a child's day counts once.
    limits : Limits
        Exact (Garwood), mid-P, or exact and widened for families that differ.

    Returns
    -------
    DataFrame
        RATES, in order of the group. Zero events have an upper limit; without line-days
        there is no rate. Clustered limits are missing with fewer than fifteen families
        in the group.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* project definition, definitions §5; limits as `stats.intervals` describes.
    """
    table = counts(tallies, event, by, basis)
    if limits is Limits.CLUSTERED:
        return RATES.check(_clustered(table, family_counts(tallies, event, by, basis)))
    found = _LIMITS[limits](table["events"].to_numpy(), table["line_days"].to_numpy())
    table = table.assign(rate_per_1000=found.rate_per_1000, lower=found.lower, upper=found.upper)
    return RATES.check(table)


def _clustered(table: pd.DataFrame, units: pd.DataFrame) -> pd.DataFrame:
    """One row a group; the loop runs over groups, each with its families."""
    of_group = units["group"].fillna("")
    found = []
    for group in table["group"].fillna(""):
        families = units[(of_group == group).to_numpy(dtype=bool)]
        limits = clustered_rate_interval(families["events"], families["line_days"])
        found.append((limits.rate_per_1000, limits.lower, limits.upper))
    columns = ["rate_per_1000", "lower", "upper"]
    return table.join(pd.DataFrame(found, columns=columns, dtype="float64"))
