"""How many calls can be made today, how many are made, and which families are beyond that?

Capacity has one meaning in linedays: the calls that can be made in a day, for a nurse by the
policy's `calls_a_day`, for several nurses their sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analysis.decisions.asked import Asked, calls_done, families_asked
from analysis.decisions.calls import CallList
from analysis.policy import Settings
from analysis.tables.records import Records
from analysis.timeline import Timeline
from analysis.vocabulary import Band


@dataclass(frozen=True)
class DailyCapacity:
    """The calls of one day for the nurses asked for."""

    nurses: int
    """Nurses with a line at home or a family assigned; 1 where no nurse is recorded."""
    a_nurse: int
    """Calls a nurse can make in a day, by the policy."""
    made: int
    """Calls recorded on the day."""
    listed: int
    """Families to call."""
    same_day: int
    """Of these in same-day review: called today even beyond capacity."""

    @property
    def possible(self) -> int:
        """Calls that can be made in the day."""
        return self.nurses * self.a_nurse

    @property
    def left(self) -> int:
        """Calls not made yet; never below 0."""
        return max(self.possible - self.made, 0)

    @property
    def fits(self) -> int:
        """Families, in calling order, within today's calls: all same-day reviews at least."""
        return min(max(self.left, self.same_day), self.listed)

    @property
    def beyond(self) -> int:
        """Families beyond today's calls."""
        return self.listed - self.fits


def daily_capacity(
    calls: CallList, timeline: Timeline, records: Records, settings: Settings, asked: Asked
) -> DailyCapacity:
    """Count the calls that can be made on a list's day, are made, and are to be made.

    Parameters
    ----------
    calls, timeline, records
        The list and what it was made from.
    settings : Settings
        In force on the day.
    asked : Asked
        Site and nurse; a nurse with lines at several sites counts at each of them. Band and
        language are ignored: they do not divide a nurse's day.

    Returns
    -------
    DailyCapacity
        Its `fits` is the place in calling order, among the families to call of this site and
        nurse, after which today's calls end.
    """
    whose = Asked(site=asked.site, nurse=asked.nurse)
    families = families_asked(calls, records, whose)
    listed = families[families["rank"].notna().to_numpy(dtype=bool)]
    home = timeline.lines[timeline.lines["at_home"]]
    if asked.site is not None:
        home = home[(home["site"] == asked.site).to_numpy(dtype=bool, na_value=False)]
    callers = {*home["nurse"].dropna(), *listed["assigned_to"].dropna()}
    return DailyCapacity(
        nurses=1 if asked.nurse is not None else max(len(callers), 1),
        a_nurse=settings.calls_a_day,
        made=len(calls_done(calls, timeline, records, whose)),
        listed=len(listed),
        same_day=int((listed["band"] == Band.SAME_DAY_REVIEW).sum()),
    )


def possible_by_site(timeline: Timeline, settings: Settings) -> pd.Series[int]:
    """Calls that can be made in a day by the nurses of each site with lines at home."""
    home = timeline.lines[timeline.lines["at_home"]]
    nurses = home.groupby("site")["nurse"].nunique().clip(lower=1)
    return (nurses * settings.calls_a_day).astype("int64")
