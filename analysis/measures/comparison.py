"""Do two groups or two spells of time differ in their rate, and by how much?"""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from analysis.measures.counts import MeasureError, counts
from analysis.measures.rates import Limits
from analysis.stats.comparison import RateRatio, exact_rate_ratio, midp_rate_ratio
from analysis.tables.measures import COMPARISON
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping

_RATIOS: dict[Limits, Callable[..., RateRatio]] = {
    Limits.EXACT: exact_rate_ratio,
    Limits.MIDP: midp_rate_ratio,
}
SPAN = ".."


def compare(
    tallies: Tallies,
    event: str,
    by: Grouping,
    basis: Basis,
    limits: Limits,
    first: str | None = None,
    second: str | None = None,
) -> pd.DataFrame:
    """Ratio of two rates: first over second, with 95 % limits and central p.

    Parameters
    ----------
    tallies, event, by, basis
        As for `rates`.
    limits : Limits
        Conditional exact or mid-P.
    first, second : str or None
        Groups; for months and quarters also a span such as ``2031-01..2031-06``, both ends
        counted. None is allowed when there are just two groups.

    Returns
    -------
    DataFrame
        COMPARISON, one row.

    Raises
    ------
    MeasureError
        The event is not known, a group has no home line-days, or two of more groups have to
        be chosen.

    *Source:* as `stats.comparison` says. Children of one family and lines of one child are
    taken as independent here.
    """
    table = counts(tallies, event, by, basis)
    groups = list(table["group"].dropna())
    if first is None and second is None and len(groups) == 2:
        first, second = groups
    if first is None or second is None:
        raise MeasureError(
            f"two groups have to be named with --first and --second; "
            f"by {by} there are {', '.join(groups) or 'none'}."
        )
    first_events, first_days = _taken(table, by, first)
    second_events, second_days = _taken(table, by, second)
    found = _RATIOS[limits](first_events, first_days, second_events, second_days)
    row = pd.DataFrame(
        {
            "first": pd.Series([first], dtype="string"),
            "second": pd.Series([second], dtype="string"),
            "ratio": [float(found.ratio)],
            "lower": [float(found.lower)],
            "upper": [float(found.upper)],
            "p": [float(found.p)],
            "method": pd.Series([found.method], dtype="string"),
        }
    )
    return COMPARISON.check(row)


def _taken(table: pd.DataFrame, by: Grouping, group: str) -> tuple[int, int]:
    """Events and line-days of a group or of a span of periods."""
    of_group = table["group"] == group
    if SPAN in group and by in (Grouping.MONTH, Grouping.QUARTER):
        start, end = group.split(SPAN, 1)
        of_group = (table["group"] >= start) & (table["group"] <= end)
    rows = table[of_group.fillna(False).to_numpy(dtype=bool)]
    days = int(rows["line_days"].sum())
    if days == 0:
        known = ", ".join(table["group"].dropna()) or "none"
        raise MeasureError(f"{group!r} has no home line-days; by {by} there are {known}.")
    return int(rows["events"].sum()), days
