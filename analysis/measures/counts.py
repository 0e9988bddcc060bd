"""How many events and how many home line-days has each group, on which basis?

Rates, comparisons, charts and funnels all start from here, so that they cannot disagree.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.errors import UsageError, nearest
from analysis.measures.grouping import group_of, in_group_order
from analysis.tables.measures import COUNTS
from analysis.tallies import Tallies
from analysis.vocabulary import Basis, Grouping, OutcomeKind, Task


class MeasureError(UsageError):
    """A measure was asked for something that it cannot answer; one sentence for a user."""


def usual_basis(event: str) -> Basis:
    """Bloodstream infections count per child, everything else per line (definitions §1).

    Examples
    --------
    >>> str(usual_basis("bloodstream_infection")), str(usual_basis("skin"))
    ('child', 'line')
    """
    return Basis.CHILD if event == OutcomeKind.BLOODSTREAM_INFECTION else Basis.LINE


def is_logged_at_home(event: str) -> bool:
    """Whether only home logs report an event, so that silence hides it (definitions §5).

    Examples
    --------
    >>> is_logged_at_home("skin"), is_logged_at_home("bloodstream_infection")
    (True, False)
    """
    return event not in {str(outcome) for outcome in OutcomeKind}


def is_judged(table: pd.DataFrame, event: str, tallies: Tallies) -> npt.NDArray[np.bool_]:
    """Whether the log covers enough of each row's days for its rate to be judged (definitions §5).

    Parameters
    ----------
    table : DataFrame
        With ``log_coverage``.
    event : str
        ``skin``, a finding code or an outcome; the last is judged at any log coverage.
    tallies : Tallies
        Holds the policy's floor.
    """
    if not is_logged_at_home(event):
        return np.ones(len(table), dtype=np.bool_)
    return np.asarray(table["log_coverage"].fillna(0.0) >= tallies.coverage_floor, dtype=np.bool_)


def check_event(tallies: Tallies, event: str) -> None:
    """Refuse a word that is no event, naming those that are.

    Raises
    ------
    MeasureError
        The event is not known.
    """
    known = list(tallies.events["event"].cat.categories)
    if event not in known:
        raise MeasureError(
            f"event {event!r} is not known; known are {', '.join(known)}.{nearest(event, known)}"
        )


def days_and_events(
    tallies: Tallies, event: str, basis: Basis
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tally cells of line-days on a basis and of one event, each with its `count`.

    Days also have `judged`: those on which the event could be known, which are the heard ones
    for an event that only home logs report and all others' all.
    """
    column = "child_days" if basis is Basis.CHILD else "home_line_days"
    heard = "heard_child_days" if basis is Basis.CHILD else "heard_days"
    days = tallies.days[(tallies.days["task"] == Task.DRESSING).to_numpy(dtype=bool)]
    events = tallies.events[(tallies.events["event"] == event).to_numpy(dtype=bool)]
    judged = days[heard if is_logged_at_home(event) else column]
    return days.assign(count=days[column], judged=judged), events.assign(count=events["events"])


def counts(tallies: Tallies, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    """Events attributed to home and home line-days by group.

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

    Returns
    -------
    DataFrame
        COUNTS, in order of the group: a group is there when it has an event or a line-day.

    Raises
    ------
    MeasureError
        The event is not known.

    *Source:* project definition, definitions §1 and §5.
    """
    check_event(tallies, event)
    days, events = days_and_events(tallies, event, basis)
    by_days = days.groupby(group_of(days, tallies.lines, by), dropna=False)
    line_days, judged = by_days["count"].sum(), by_days["judged"].sum()
    home, heard = by_days["home_line_days"].sum(), by_days["heard_days"].sum()
    by_group = events.groupby(group_of(events, tallies.lines, by), dropna=False)
    at_home, elsewhere = by_group["count"].sum(), by_group["events_elsewhere"].sum()
    sums = {
        "line_days": line_days,
        "judged_days": judged,
        "home": home,
        "heard": heard,
        "events": at_home,
        "events_elsewhere": elsewhere,
    }
    table = pd.DataFrame(sums).fillna(0).astype("int64").rename_axis("group").reset_index()
    table["log_coverage"] = table["heard"] / table["home"].where(table["home"] > 0)
    table = table[(table["line_days"] > 0) | (table["events"] > 0)].astype({"group": "string"})
    bands = list(tallies.days["age_band"].cat.categories) if by is Grouping.AGE_BAND else None
    return COUNTS.check(in_group_order(table, bands))


def family_counts(tallies: Tallies, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    """Events and home line-days by family and group: families are the independent unit.

    Returns
    -------
    DataFrame
        One row a family and group with line-days: ``family`` (its position), ``group``,
        ``line_days``, ``judged_days``, ``events``.

    Raises
    ------
    MeasureError
        The event is not known.
    """
    check_event(tallies, event)
    family = tallies.lines["family"].to_numpy(dtype=np.int64)
    sums = []
    cells_of = days_and_events(tallies, event, basis)
    for cells, columns in zip(cells_of, (["count", "judged"], ["count"]), strict=True):
        # Before: one row a tally cell; after: one row a family and group.
        keys = {
            "family": family[cells["line"].to_numpy(dtype=np.int64)],
            "group": group_of(cells, tallies.lines, by).fillna("").to_numpy(dtype=object),
        }
        sums.append(cells.assign(**keys).groupby(["family", "group"])[columns].sum())
    days = sums[0].rename(columns={"count": "line_days", "judged": "judged_days"})
    units = days.join(sums[1].rename(columns={"count": "events"}), how="outer")
    units = units.fillna(0).astype("int64")
    units = units[units["line_days"] > 0].reset_index().astype({"group": "string"})
    return units.assign(group=units["group"].replace("", None))
