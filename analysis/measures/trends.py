"""Is a rate rising or falling, and how do groups compare once the rates are adjusted for their mix of lines?"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.measures.counts import (
    MeasureError,
    check_event,
    counts,
    days_and_events,
    family_counts,
    is_judged,
)
from analysis.measures.grouping import group_of
from analysis.stats.dispersion import overdispersion
from analysis.stats.seasonal_trend import YEARS, seasonal_trend
from analysis.stats.standardised import expected_from_others, standardised_ratio
from analysis.tables.statistics import STANDARDISED, TREND
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping


def trend(tallies: Tallies, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    """Ratio of the rate from one period to the next, and whether families differ beyond chance.

    Parameters
    ----------
    tallies, event, by, basis
        As for `trend_ratio`.

    Returns
    -------
    DataFrame
        TREND, one row.

    Raises
    ------
    MeasureError
        The event is not known, or the grouping is no period.

    *Source:* as `trend_ratio`; dispersion as `stats.dispersion`.
    """
    ratio = trend_ratio(tallies, event, by, basis)
    units = _judged_units(tallies, event, by, basis)
    of_family = units.groupby("family")[["events", "judged_days"]].sum()
    spread = overdispersion(of_family["events"], of_family["judged_days"])
    found = ratio.assign(dispersion=spread.dispersion, dispersion_p=spread.p)
    return TREND.check(found[TREND.names])


def trend_ratio(tallies: Tallies, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    """Ratio of the rate from one period to the next, with errors clustered by family.

    Parameters
    ----------
    tallies, event, basis
        As for `rates`.
    by : Grouping
        Month or quarter.

    Returns
    -------
    DataFrame
        TREND without its dispersion, one row, of the days on which the event could be known. Give
        `settled_tallies`: a period that late reports may still change would look like a fall. Periods
        with too low a log coverage are left out. With two years or more a yearly season is removed.

    Raises
    ------
    MeasureError
        The event is not known, or the grouping is no period.

    *Source:* Poisson regression as `stats.seasonal_trend` describes.
    """
    units = _judged_units(tallies, event, by, basis)
    step = _steps(units["group"], by)
    year = 12 if by is Grouping.MONTH else 4
    columns = (units["events"], units["judged_days"], step, units["family"])
    found = seasonal_trend(*columns, year=year)
    periods = int(step.max(initial=-1)) + 1
    return pd.DataFrame(
        {
            "periods": [periods],
            "events": [int(units["events"].sum())],
            "families": [units["family"].nunique()],
            "ratio_per_period": [found.ratio],
            "lower": [found.lower],
            "upper": [found.upper],
            "p": [found.p],
            "season_adjusted": [periods >= YEARS * year],
        }
    )


def _judged_units(tallies: Tallies, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    """Counts by family and period, of periods that are judged."""
    if by not in (Grouping.MONTH, Grouping.QUARTER):
        raise MeasureError(f"a trend goes by month or by quarter, not by {by}.")
    table = counts(tallies, event, by, basis)
    judged = table.loc[is_judged(table, event, tallies), "group"]
    units = family_counts(tallies, event, by, basis)
    return units[units["group"].isin(judged).to_numpy(dtype=bool)].reset_index(drop=True)


def _steps(periods: pd.Series[Any], by: Grouping) -> npt.NDArray[np.int64]:
    """Number of each period, counted in months or quarters from the first."""
    place, names = pd.factorize(periods.astype("string"))
    year, after = (12, 5) if by is Grouping.MONTH else (4, 6)
    number = [int(str(name)[:4]) * year + int(str(name)[after:]) for name in names]
    steps = np.array(number, dtype=np.int64)[place]
    return steps - np.int64(steps.min()) if len(steps) else steps


def standardised(
    tallies: Tallies, event: str, by: Grouping, strata: tuple[Grouping, ...], basis: Basis
) -> pd.DataFrame:
    """Observed over expected events of each group, expected at the rates of all other groups.

    Parameters
    ----------
    tallies, event, basis
        As for `rates`.
    by : Grouping
        Groups, each compared with all others together.
    strata : tuple of Grouping
        What the comparison is adjusted for: line type, age band, dressing type and the like.

    Returns
    -------
    DataFrame
        STANDARDISED. Not shown where fewer than one event is expected, where no other group has
        days like the group's, or with too low a log coverage, which also keeps a group out of what
        others are compared with; no lower limit without events. A ratio compares a group with the
        others, not two groups with each other. Give `settled_tallies`.

    Raises
    ------
    MeasureError
        The event is not known, or the groups are among the strata.

    *Source:* indirect standardisation; limits as `stats.standardised` describes.
    """
    if by in strata or not strata:
        raise MeasureError("the strata have to be other groupings than the groups themselves.")
    check_event(tallies, event)
    days, events = days_and_events(tallies, event, basis)
    tables = []
    for cells in (days.assign(count=days["judged"]), events):
        keys = [group_of(cells, tallies.lines, of).astype("string").fillna("") for of in strata]
        stratum = keys[0]
        for key in keys[1:]:
            stratum = stratum + "|" + key
        group = group_of(cells, tallies.lines, by).astype("string").fillna("")
        crossed = cells["count"].groupby([group.to_numpy(), stratum.to_numpy()]).sum()
        tables.append(crossed.unstack(fill_value=0))
    groups = tables[0].index.union(tables[1].index)
    cross = tables[0].columns.union(tables[1].columns)
    by_cell = [t.reindex(index=groups, columns=cross, fill_value=0).to_numpy() for t in tables]
    line_days, count = (cell.astype(np.int64) for cell in by_cell)
    seen = line_days.sum(axis=0) > 0
    line_days, count = line_days[:, seen], count[:, seen]
    own = counts(tallies, event, by, basis)
    logged = set(own.loc[is_judged(own, event, tallies), "group"].astype("string").fillna(""))
    judged = np.array([str(group) in logged for group in groups], dtype=bool)[:, None]
    expected, reference = expected_from_others(count * judged, line_days * judged)
    found = standardised_ratio(
        count.sum(axis=1), np.nan_to_num(expected), reference=np.nan_to_num(reference)
    )
    table = pd.DataFrame(
        {
            "group": pd.Series(groups, dtype="string").replace("", None),
            "events": found.observed,
            "expected": expected,
            "ratio": found.ratio,
            "lower": found.lower,
            "upper": found.upper,
            "p": found.p,
        }
    )
    return STANDARDISED.check(table)
