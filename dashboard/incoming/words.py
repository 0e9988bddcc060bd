"""How is what was received put into sentences?"""

from __future__ import annotations

from datetime import date

import pandas as pd

from dashboard.figures.delays import WEEK
from dashboard.incoming.views import IncomingView, Today
from dashboard.layout import words
from dashboard.layout.words import percent

MOST_NAMED = 3
"""Sources that are named; the others are counted."""
DELAY_NOTE = (
    "Entries received in the last 26 weeks, by source. A corrected entry counts with the day on "
    "which the correction was received. Entries that are never sent are not in these figures: "
    "families that do not log are on the call list."
)
OF_SITES = (
    "You see the rows of your sites only. Files are counted by their rows of these sites, and a "
    "refused row is shown if it names a line, child, family or caregiver of these sites and of no "
    "others. Rows without a known code are shown to people who see all sites; they correct rows "
    "and import files."
)
OF_ALL_SITES = "A refused row may not name a site: people who see all sites see all refused rows."
NOT_THE_ROWS = "Your role cannot see row contents. The manager corrects them."


def answer(view: IncomingView) -> str:
    """The page in three sentences: what was received today, what to correct, who has sent nothing."""
    of_sites = view.context.reader.sites is not None
    waits = view.refused_paged.total
    parts = [
        _came(view.today, view.context.as_of, of_sites=of_sites),
        "No rows to correct."
        if waits == 0
        else f"{words.counted(waits, 'row', 'rows')} to correct.",
        quiet(view.delays),
    ]
    return " ".join(part for part in parts if part)


def _came(today: Today, as_of: date, *, of_sites: bool) -> str:
    if today.files == 0:
        if today.newest_on is None:
            return "No file has been received yet."
        when = words.ago(today.newest_on, as_of)
        return f"Nothing received today; the newest file, {today.newest_file}, was received {when}."
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
    """Sources that have sent nothing for more than a week, the longest first."""
    silent = delays[delays["quiet_days"] > WEEK]
    if silent.empty:
        return "Every source has sent something within a week." if len(delays) else ""
    named = [
        f"{name} for {words.counted(int(days), 'day', 'days')}"
        for name, days in zip(silent["name"], silent["quiet_days"], strict=True)
    ]
    if len(named) > MOST_NAMED:
        more = words.counted(len(named) - MOST_NAMED + 1, "other source", "other sources")
        named = [*named[: MOST_NAMED - 1], more]
    return f"No data for more than a week: {words.listed(named)}."


def how_late(delays: pd.DataFrame) -> str:
    """The slowest source and its share of entries later than a week."""
    came = delays[delays["entries"] > 0]
    if came.empty:
        return "No entry was received in the last 26 weeks."
    late, all_ = int(came["later_than_week"].sum()), int(came["entries"].sum())
    whole = (
        f"{words.thousands(late)} of {words.counted(all_, 'entry', 'entries')} "
        f"({percent(late / all_)}) were received more than a week after their day."
    )
    order = ["nine_in_ten_days", "later_than_week_share"]
    slowest = came.sort_values(order, ascending=False, kind="stable").iloc[0]
    days = int(slowest["nine_in_ten_days"])
    when = f"within {words.counted(days, 'day', 'days')}" if days else "on their own day"
    if len(came) == 1 or days == 0:
        return f"Nine in ten entries were received {when}. {whole}"
    return f"Slowest is {slowest['name']}: nine in ten were received {when}. {whole}"


def who_sees(view: IncomingView) -> str:
    """Which rows this person sees."""
    return OF_ALL_SITES if view.context.reader.sites is None else OF_SITES


def megabytes(number: int) -> str:
    """Bytes as megabytes.

    Examples
    --------
    >>> megabytes(50_000_000), megabytes(1_500_000)
    ('50 MB', '1.5 MB')
    """
    return f"{number / 1e6:g} MB"
