"""How is what came in said in whole sentences?"""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd

from dashboard.figures.delays import WEEK
from dashboard.incoming.views import IncomingView, Today
from dashboard.layout import words
from dashboard.layout.words import percent

MOST_NAMED = 3
"""Quiet sources that are named; the others are counted."""
DELAY_NOTE = (
    "Looked at: entries received in the last 26 weeks, by source. An entry that was corrected or "
    "mended counts with the day on which that came in. What never comes is in none of these "
    "figures: families that do not log are on the call list."
)
OF_SITES = (
    "You see the rows of your sites alone. Files are counted by their rows of these sites, and a "
    "refused row is shown if it names a line, child, family or caregiver of these sites and of no "
    "others. A row that names nobody known is shown to people of all sites, who mend rows and "
    "bring files in."
)
OF_ALL_SITES = "A refused row may name no site: all of them are shown to people of all sites."
NOT_THE_ROWS = "What stood in the rows is not part of your role: mending them is the manager's."


def answer(view: IncomingView) -> str:
    """The page in three sentences: what came in today, what waits, who has been quiet."""
    of_sites = view.context.reader.sites is not None
    waits = view.refused_paged.total
    parts = [
        _came(view.today, view.context.as_of, of_sites=of_sites),
        "No row waits to be mended."
        if waits == 0
        else f"{words.counted(waits, 'row waits', 'rows wait')} to be mended.",
        quiet(view.delays),
    ]
    return " ".join(part for part in parts if part)


def _came(today: Today, as_of: date, *, of_sites: bool) -> str:
    if today.files == 0:
        if today.newest_on is None:
            return "No file has come in yet."
        when = words.ago(today.newest_on, as_of)
        return f"Nothing came in today; the newest file, {today.newest_file}, came {when}."
    files = words.counted(today.files, "file", "files")
    if of_sites:
        return f"Today {files} with {words.counted(today.stored, 'row', 'rows')} of your sites."
    read = words.counted(today.read, "row", "rows")
    parts = [f"{words.thousands(today.stored)} new"]
    if today.same_as_before:
        parts.append(f"{words.thousands(today.same_as_before)} known before")
    parts.append(f"{words.thousands(today.refused) if today.refused else 'none'} refused")
    return f"Today {files}, {read}: {words.listed(parts)}."


def quiet(delays: pd.DataFrame) -> str:
    """Sources of which nothing came for more than a week, the longest quiet first."""
    silent = delays[delays["quiet_days"] > WEEK]
    if silent.empty:
        return "Every source was heard within a week." if len(delays) else ""
    named = [
        f"{name} for {words.counted(int(days), 'day', 'days')}"
        for name, days in zip(silent["name"], silent["quiet_days"], strict=True)
    ]
    if len(named) > MOST_NAMED:
        more = words.counted(len(named) - MOST_NAMED + 1, "other source", "other sources")
        named = [*named[: MOST_NAMED - 1], more]
    return f"Quiet for more than a week: {words.listed(named)}."


def how_late(delays: pd.DataFrame) -> str:
    """The slowest source and its share of entries later than a week."""
    came = delays[delays["entries"] > 0]
    if came.empty:
        return "No entry came in during the last 26 weeks."
    late, all_ = int(came["later_than_week"].sum()), int(came["entries"].sum())
    whole = (
        f"{words.thousands(late)} of {words.counted(all_, 'entry', 'entries')} "
        f"({percent(late / all_)}) came more than a week after their day."
    )
    order = ["nine_in_ten_days", "later_than_week_share"]
    slowest = came.sort_values(order, ascending=False, kind="stable").iloc[0]
    days = int(slowest["nine_in_ten_days"])
    when = f"within {words.counted(days, 'day', 'days')}" if days else "on their own day"
    if len(came) == 1 or days == 0:
        return f"Nine in ten entries came {when}. {whole}"
    return f"Slowest is {slowest['name']}: nine in ten came {when}. {whole}"


def moment(at: datetime) -> str:
    """Day and time of receipt.

    Examples
    --------
    >>> moment(datetime(2031, 3, 4, 7, 30))
    '4 Mar 2031, 07:30'
    """
    return f"{words.day_year(at.date())}, {at:%H:%M}"
