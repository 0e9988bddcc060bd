"""How many calls fit into the day, how many are made, and where does the list go beyond them?

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
class Room:
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
    """Of these to be called on the day whatever the capacity."""

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
        """Families, in calling order, that are called today: all same-day reviews at least."""
        return min(max(self.left, self.same_day), self.listed)

    @property
    def beyond(self) -> int:
        """Families that do not fit into today."""
        return self.listed - self.fits


def room_today(
    calls: CallList, timeline: Timeline, records: Records, settings: Settings, asked: Asked
) -> Room:
    """Count the calls that can be made on a list's day, are made, and are to be made.

    Parameters
    ----------
    calls, timeline, records
        The list and what it was made from.
    settings : Settings
        In force on the day.
    asked : Asked
        Site and nurse; a nurse with lines at several sites counts at each of them. Band and
        language are passed by: a nurse's day is not theirs.

    Returns
    -------
    Room
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
    return Room(
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


def room_words(room: Room) -> str:
    """Say in whole sentences how the list fits into the day.

    Examples
    --------
    >>> print(room_words(Room(nurses=1, a_nurse=25, made=3, listed=18, same_day=2)))
    3 of today's 25 calls are made (1 nurse, 25 calls by the policy). The 18 families to call fit into the 22 left.
    >>> print(room_words(Room(nurses=2, a_nurse=10, made=0, listed=31, same_day=2)))
    0 of today's 20 calls are made (2 nurses, 10 calls each by the policy). Of the 31 families to call 11 do not fit into the 20 left.
    """
    nurses = "1 nurse" if room.nurses == 1 else f"{room.nurses:,} nurses"
    each = "" if room.nurses == 1 else " each"
    said = (
        f"{room.made:,} of today's {_calls(room.possible)} are made "
        f"({nurses}, {_calls(room.a_nurse)}{each} by the policy). "
    )
    if not room.listed:
        return f"{said}No family is left to call."
    if room.same_day > room.left:
        return (
            f"{said}{room.left:,} are left, and {_families(room.same_day)} are in same-day review: "
            "all of them are called today."
        )
    if room.beyond == 0:
        them = "The 1 family" if room.listed == 1 else f"The {_families(room.listed)}"
        fit = "fits" if room.listed == 1 else "fit"
        return f"{said}{them} to call {fit} into the {room.left:,} left."
    do = "does" if room.beyond == 1 else "do"
    return (
        f"{said}Of the {_families(room.listed)} to call {room.beyond:,} {do} not fit into the "
        f"{room.left:,} left."
    )


def beyond_words(room: Room) -> str:
    """Say what stands below the place at which today's calls end."""
    below = "1 family" if room.beyond == 1 else f"{room.beyond:,} families"
    do = "does" if room.beyond == 1 else "do"
    return f"Today's calls end here. {below} from here on {do} not fit into today."


def _calls(number: int) -> str:
    return "1 call" if number == 1 else f"{number:,} calls"


def _families(number: int) -> str:
    return "1 family" if number == 1 else f"{number:,} families"
