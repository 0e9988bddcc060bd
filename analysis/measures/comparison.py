"""Do two groups or two periods differ in their rate, and by how much?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.errors import nearest
from analysis.measures.counts import MeasureError, counts, family_counts, is_judged
from analysis.measures.coverage import log_coverage
from analysis.stats.comparison import RateRatio, exact_rate_ratio, midp_rate_ratio
from analysis.stats.intervals import exact_rate_interval, midp_rate_interval
from analysis.stats.regression import clustered_rate_ratio
from analysis.tables.columns import Frame
from analysis.tables.measures import ADHERENCE, COMPARISON, RATES
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping, Limits

_RATIOS: dict[Limits, Callable[..., RateRatio]] = {
    Limits.EXACT: exact_rate_ratio,
    Limits.MIDP: midp_rate_ratio,
}
SPAN = ".."
COMPARED_RATES = Frame(
    "compared_rates",
    "two rows: the first and the second group or span of time",
    (*RATES.columns, ADHERENCE["log_coverage"]),
)
CLUSTERED = "Poisson regression, errors clustered by family"


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
        Conditional exact or mid-P, for the row that takes events as independent.
    first, second : str or None
        Groups; for months and quarters also a span such as ``2031-01..2031-06``, both ends
        counted. None is allowed when there are just two groups.

    Returns
    -------
    DataFrame
        COMPARISON, two rows: events taken as independent, and errors clustered by family, which
        is the one to trust where a few families have several of the events. The clustered row
        has no limits with events in fewer than ten families.

    Raises
    ------
    MeasureError
        The event is not known, a group has no home line-days or too low a log coverage, or two
        of more groups have to be chosen.

    *Source:* as `stats.comparison` and `stats.regression` say.
    """
    table = counts(tallies, event, by, basis)
    if table.empty:
        raise MeasureError(
            "there is no complete month to compare: late reports may still change every month."
        )
    groups = list(table["group"].dropna())
    if first is None and second is None and len(groups) == 2:
        first, second = groups
    if first is None or second is None:
        raise MeasureError(
            f"two groups have to be named with --first and --second; "
            f"by {by} there are {', '.join(groups) or 'none'}."
        )
    units = family_counts(tallies, event, by, basis)
    parts = [units[_is_of(units["group"], by, name)] for name in (first, second)]
    for name, part in zip((first, second), parts, strict=True):
        if not part["line_days"].sum():
            known = ", ".join(groups) or "none"
            raise MeasureError(
                f"{name!r} has no home line-days; by {by} there are {known}.{nearest(name, groups)}"
            )
    _check_coverage(tallies, event, by, (first, second))
    sums = [int(part[column].sum()) for part in parts for column in ("events", "judged_days")]
    alone = _RATIOS[limits](*sums)
    whole = pd.concat(parts)
    is_first = np.repeat([True, False], [len(part) for part in parts])
    clustered = clustered_rate_ratio(
        whole["events"], whole["judged_days"], is_first, whole["family"]
    )
    found = [
        (float(alone.ratio), float(alone.lower), float(alone.upper), float(alone.p)),
        (clustered.ratio, clustered.lower, clustered.upper, clustered.p),
    ]
    rows = pd.DataFrame(found, columns=["ratio", "lower", "upper", "p"]).assign(
        first=pd.Series([first] * 2, dtype="string"),
        second=pd.Series([second] * 2, dtype="string"),
        method=pd.Series([f"{alone.method}, events independent", CLUSTERED], dtype="string"),
    )
    return COMPARISON.check(rows)


def compared_rates(
    tallies: Tallies, event: str, by: Grouping, basis: Basis, limits: Limits, named: list[str]
) -> pd.DataFrame:
    """Rates of the groups or spans that `compare` sets against each other.

    Parameters
    ----------
    tallies, event, by, basis, limits
        As for `compare`.
    named : list of str
        Groups, or spans of months or quarters such as ``2031-01..2031-06``.

    Returns
    -------
    DataFrame
        COMPARED_RATES in the order named: RATES and the log coverage. Without line-days there
        is no rate.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* project definition, definitions §4 and §5; limits as `stats.intervals` describes.
    """
    table, heard = counts(tallies, event, by, basis), log_coverage(tallies, by)
    rows = []
    for name in named:
        part = table.loc[_is_of(table["group"], by, name), ["events", "line_days"]].sum()
        logged = heard.loc[_is_of(heard["group"], by, name), ["heard_days", "home_line_days"]].sum()
        rows.append({"group": name, **part, **logged})
    found = pd.DataFrame(rows).astype({"group": "string"})
    interval = midp_rate_interval if limits is Limits.MIDP else exact_rate_interval
    interval_of = interval(found["events"].to_numpy(), found["line_days"].to_numpy())
    found = found.assign(
        rate_per_1000=interval_of.rate_per_1000,
        lower=interval_of.lower,
        upper=interval_of.upper,
        log_coverage=found["heard_days"]
        / found["home_line_days"].where(found["home_line_days"] > 0),
    )
    return COMPARED_RATES.check(found)


def _check_coverage(tallies: Tallies, event: str, by: Grouping, named: tuple[str, str]) -> None:
    """Refuse a group or span of which too few days are logged to judge its rate."""
    heard = log_coverage(tallies, by)
    for name in named:
        sums = heard.loc[_is_of(heard["group"], by, name), ["heard_days", "home_line_days"]].sum()
        share = sums["heard_days"] / sums["home_line_days"] if sums["home_line_days"] else 0.0
        if not is_judged(pd.DataFrame({"log_coverage": [share]}), event, tallies)[0]:
            raise MeasureError(
                f"{name} is not compared: the log covers {100 * share:.0f} % of its home "
                f"line-days, and a comparison needs {100 * tallies.coverage_floor:.0f} %."
            )


def _is_of(groups: pd.Series[Any], by: Grouping, wanted: str) -> npt.NDArray[np.bool_]:
    """Which rows are of a group, or of a span of periods."""
    if SPAN in wanted and by in (Grouping.MONTH, Grouping.QUARTER):
        start, end = wanted.split(SPAN, 1)
        inside = (groups >= start) & (groups <= end)
    else:
        inside = groups == wanted
    return inside.fillna(False).to_numpy(dtype=bool)
