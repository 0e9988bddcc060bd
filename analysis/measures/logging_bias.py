"""Would a rate look different if every family logged well, and what could silence hide?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.measures.counts import MeasureError, check_event, counts, days_and_events
from analysis.measures.grouping import group_of, in_group_order
from analysis.measures.late_reports import silent_line_days
from analysis.stats.intervals import PER, exact_rate_interval
from analysis.tables.statistics import LOGGING_BIAS
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping, OutcomeKind

WELL_LOGGED = 0.95
"""A family logs well when it was silent on at most one home line-day in twenty."""


def logging_bias(tallies: Tallies, event: str, by: Grouping, episode_gap_days: int) -> pd.DataFrame:
    """Rate of all families, of well-logging ones, and the most that silent days could hide.

    An event is found by an entry, so silent days show none. Two events of one line are more
    than `episode_gap_days` apart: that bounds how many a run of silent days can hold. The bound
    is counted per line, month, dressing type and age band, and so is a little too high.

    Parameters
    ----------
    tallies, event, by
        As for `rates`, per line.
    episode_gap_days : int
        Of the policy in force, unit: days.

    Returns
    -------
    DataFrame
        LOGGING_BIAS.

    Raises
    ------
    MeasureError
        The event is not known, or is an outcome that the clinic confirms, which no silence of a
        family hides.

    *Source:* project choice.
    """
    check_event(tallies, event)
    if event in _outcomes():
        raise MeasureError(f"{event} is confirmed by the clinic: logging does not bear on it.")
    days, events = days_and_events(tallies, event, Basis.LINE)
    family = tallies.lines["family"].to_numpy(dtype=np.int64)
    silent = silent_line_days(tallies)
    of_cell = family[silent["line"].to_numpy(dtype=np.int64)]
    by_family = silent.groupby(of_cell)[["home_line_days", "heard_days"]].sum()
    coverage = by_family["heard_days"] / by_family["home_line_days"]
    logs_well = set(coverage.index[(coverage >= WELL_LOGGED).to_numpy(dtype=bool)])

    def of_well_logging(cells: pd.DataFrame) -> pd.Series[int]:
        whose = pd.Series(family[cells["line"].to_numpy(dtype=np.int64)], index=cells.index)
        ours = cells[whose.isin(logs_well)]
        return ours.groupby(group_of(ours, tallies.lines, by), dropna=False)["count"].sum()

    hidden = -(-silent["silent_days"] // (episode_gap_days + 1))
    group = group_of(silent, tallies.lines, by)
    sums = (
        silent.assign(hidden=hidden)
        .groupby(group, dropna=False)[["home_line_days", "heard_days", "hidden"]]
        .sum()
    )
    table = counts(tallies, event, by, Basis.LINE).set_index("group")
    table = table.join(sums).join(of_well_logging(days).rename("well_logged_days"))
    table = table.join(of_well_logging(events).rename("well_logged_events")).fillna(0)
    table = table.astype("int64").rename_axis("group").reset_index()
    table["group"] = table["group"].astype("string")
    plain = exact_rate_interval(table["events"].to_numpy(), table["line_days"].to_numpy())
    well = exact_rate_interval(
        table["well_logged_events"].to_numpy(), table["well_logged_days"].to_numpy()
    )
    whole = table["home_line_days"].where(table["home_line_days"] > 0)
    table = table.assign(
        rate_per_1000=plain.rate_per_1000,
        log_coverage=table["heard_days"] / whole,
        well_logged_rate=well.rate_per_1000,
        well_logged_lower=well.lower,
        well_logged_upper=well.upper,
        hidden_at_most=table["hidden"],
        rate_at_most=PER * (table["events"] + table["hidden"]) / whole,
    )
    bands = list(tallies.days["age_band"].cat.categories) if by is Grouping.AGE_BAND else None
    return LOGGING_BIAS.check(in_group_order(table, bands))


def _outcomes() -> frozenset[str]:
    return frozenset(str(outcome) for outcome in OutcomeKind)
