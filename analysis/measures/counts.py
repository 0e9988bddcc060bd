"""How many events and how many home line-days has each group, on which basis?

Rates, comparisons, charts and funnels all start from here, so that they cannot disagree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.errors import UsageError, nearest
from analysis.measures.grouping import in_group_order, numbered_groups
from analysis.measures.snapshot_data import once
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
    days = dressing_cells(tallies)
    events = tallies.events[(tallies.events["event"] == event).to_numpy(dtype=bool)]
    judged = days[heard if is_logged_at_home(event) else column]
    return days.assign(count=days[column], judged=judged), events.assign(count=events["events"])


def dressing_cells(tallies: Tallies) -> pd.DataFrame:
    """Tally cells of the dressing: each line-day is in one of them."""

    def find() -> pd.DataFrame:
        return tallies.days[(tallies.days["task"] == Task.DRESSING).to_numpy(dtype=bool)]

    return once(tallies, "dressing cells", find)


@dataclass(frozen=True)
class Grouped:
    """Groups of the tally cells of line-days (`dressing_cells`) and of events."""

    names: pd.Series[str]
    """In order; the last one is missing: not recorded."""
    of_days: npt.NDArray[np.int64]
    """Number of the group of each cell of line-days."""
    of_events: npt.NDArray[np.int64]

    def sum_of_days(self, values: npt.ArrayLike) -> npt.NDArray[np.int64]:
        """Sums over the cells of each group."""
        return _sums(self.of_days, values, len(self.names))

    def sum_of_events(
        self, values: npt.ArrayLike, cells: npt.NDArray[np.bool_]
    ) -> npt.NDArray[np.int64]:
        """Sums over some of the cells of each group."""
        return _sums(self.of_events[cells], values, len(self.names))


def _sums(
    group: npt.NDArray[np.int64], values: npt.ArrayLike, groups: int
) -> npt.NDArray[np.int64]:
    # Exact: sums of days and events are far below 2 ** 53.
    return np.bincount(group, np.asarray(values), groups).astype(np.int64)


def grouped(tallies: Tallies, by: Grouping) -> Grouped:
    """The groups of all tally cells, found once for all measures."""

    def find() -> Grouped:
        lines = tallies.lines
        days, of_days = numbered_groups(dressing_cells(tallies), lines, by)
        events, of_events = numbered_groups(tallies.events, lines, by)
        names = pd.Index(of_days).union(pd.Index(of_events), sort=True)
        day_at, event_at = (
            np.append(names.get_indexer(pd.Index(own)), len(names)) for own in (of_days, of_events)
        )
        every = pd.Series([*names, None], dtype="string")
        return Grouped(every, day_at[days], event_at[events])

    return once(tallies, ("groups", by), find)


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
    question = ("counts", event, by, basis)
    return once(tallies, question, lambda: _counts(tallies, event, by, basis)).copy()


def _counts(tallies: Tallies, event: str, by: Grouping, basis: Basis) -> pd.DataFrame:
    days, events = days_and_events(tallies, event, basis)
    group, ours = grouped(tallies, by), (tallies.events["event"] == event).to_numpy(dtype=bool)
    table = pd.DataFrame(
        {
            "group": group.names,
            "line_days": group.sum_of_days(days["count"]),
            "judged_days": group.sum_of_days(days["judged"]),
            "home": group.sum_of_days(days["home_line_days"]),
            "heard": group.sum_of_days(days["heard_days"]),
            "events": group.sum_of_events(events["count"], ours),
            "events_elsewhere": group.sum_of_events(events["events_elsewhere"], ours),
        }
    )
    table["log_coverage"] = table["heard"] / table["home"].where(table["home"] > 0)
    table = table[(table["line_days"] > 0) | (table["events"] > 0)]
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
    days, events = days_and_events(tallies, event, basis)
    key, of_days, of_events = once(
        tallies, ("families and groups", by), lambda: _families_and_groups(tallies, by)
    )
    names = grouped(tallies, by).names
    ours = (tallies.events["event"] == event).to_numpy(dtype=bool)
    line_days = _sums(of_days, days["count"], len(key))
    units = pd.DataFrame(
        {
            "family": key // len(names),
            "group": names.array.take(key % len(names) - 1),
            "line_days": line_days,
            "judged_days": _sums(of_days, days["judged"], len(key)),
            "events": _sums(of_events[ours], events["count"], len(key)),
        }
    )
    return units[line_days > 0].reset_index(drop=True)


def _families_and_groups(
    tallies: Tallies, by: Grouping
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Every family and group in one number, in order, and its place for each cell.

    The number is the family times the number of groups, plus 1 + the group's; groups that are not
    recorded come first.
    """
    group, family = grouped(tallies, by), tallies.lines["family"].to_numpy(dtype=np.int64)
    parts = []
    for cells, of in (
        (dressing_cells(tallies), group.of_days),
        (tallies.events, group.of_events),
    ):
        n = len(group.names)
        parts.append(family[cells["line"].to_numpy(dtype=np.int64)] * n + (of + 1) % n)
    key, at = np.unique(np.concatenate(parts), return_inverse=True)
    return key, at[: len(parts[0])], at[len(parts[0]) :]
