"""How many events per 1000 home line-days, and how sure is that?

These are home line-days, not an NHSN rate, and not a submission to any registry.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum

import pandas as pd

from analysis.measures.grouping import group_of, in_group_order
from analysis.stats.intervals import RateInterval, exact_rate_interval, midp_rate_interval
from analysis.tables.measures import RATES
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping, OutcomeKind, Task


class Limits(StrEnum):
    """Kind of 95 % limits of a rate."""

    EXACT = "exact"
    MIDP = "midp"


_LIMITS: dict[Limits, Callable[..., RateInterval]] = {
    Limits.EXACT: exact_rate_interval,
    Limits.MIDP: midp_rate_interval,
}


class MeasureError(Exception):
    """A measure was asked for something that it cannot answer; one sentence for a user."""


def usual_basis(event: str) -> Basis:
    """Bloodstream infections count per child, everything else per line (definitions §1)."""
    return Basis.CHILD if event == OutcomeKind.BLOODSTREAM_INFECTION else Basis.LINE


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
        Exact (Garwood) or mid-P.

    Returns
    -------
    DataFrame
        RATES, in order of the group. Zero events have an upper limit; without line-days
        there is no rate.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* project definition, definitions §5; limits as `stats.intervals` says.
    """
    known = list(tallies.events["event"].cat.categories)
    if event not in known:
        raise MeasureError(f"event {event!r} is not known; known are {', '.join(known)}.")
    column = "child_days" if basis is Basis.CHILD else "home_line_days"
    days = tallies.days[tallies.days["task"] == Task.DRESSING]
    events = tallies.events[(tallies.events["event"] == event).to_numpy(dtype=bool)]
    line_days = days.groupby(group_of(days, tallies.lines, by), dropna=False)[column].sum()
    counts = events.groupby(group_of(events, tallies.lines, by), dropna=False)["events"].sum()
    table = pd.DataFrame({"line_days": line_days, "events": counts})
    table = table.rename_axis("group").reset_index()
    table = table.fillna({"line_days": 0, "events": 0}).astype(
        {"line_days": "int64", "events": "int64", "group": "string"}
    )
    found = _LIMITS[limits](table["events"].to_numpy(), table["line_days"].to_numpy())
    table["rate_per_1000"] = found.rate_per_1000
    table["lower"], table["upper"] = found.lower, found.upper
    bands = list(tallies.days["age_band"].cat.categories) if by is Grouping.AGE_BAND else None
    return RATES.check(in_group_order(table, bands))
