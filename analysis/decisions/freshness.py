"""What has every list to say of its data: how old they are, what is left out, what is assumed?"""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd

from analysis.words import counted, day_year

OLD_DAYS = 3
"""Days after which every list shows how old its newest entry is (project choice)."""


def freshness_sentence(entries_on: pd.Series[pd.Timestamp], as_of: date) -> str | None:
    """How old the newest log entry is, in a sentence.

    Parameters
    ----------
    entries_on : Series of datetime64
        Days of the log entries known.
    as_of : date
        Day of the list.

    Returns
    -------
    str or None
        None where the newest entry up to the day is less than `OLD_DAYS` old.

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2031-03-05", "2031-03-09"]))
    >>> freshness_sentence(days, date(2031, 3, 11))
    >>> freshness_sentence(days, date(2031, 3, 12))
    'The newest log entry is 3 days old (9 Mar 2031).'
    >>> freshness_sentence(days, date(2031, 3, 1))
    'No log entry is dated 1 Mar 2031 or earlier; the first one is of 5 Mar 2031.'
    >>> freshness_sentence(days[:0], date(2031, 3, 1))
    'No log entries have been received.'
    """
    known = entries_on.dropna()
    if known.empty:
        return "No log entries have been received."
    until = known[(known <= pd.Timestamp(as_of)).to_numpy(dtype=bool)]
    if until.empty:
        return (
            f"No log entry is dated {day_year(as_of)} or earlier; the first one is of "
            f"{day_year(known.min().date())}."
        )
    newest = until.max().date()
    age = (as_of - newest).days
    if age < OLD_DAYS:
        return None
    return f"The newest log entry is {counted(age, 'day', 'days')} old ({day_year(newest)})."


def left_out_sentence(n_rows: int, known_at: datetime) -> str | None:
    """How many stored rows were received after a time of the programme's zone; None: none."""
    if not n_rows:
        return None
    rows, left = (
        ("1 stored row was", "is") if n_rows == 1 else (f"{n_rows:,} stored rows were", "are")
    )
    return f"{rows} received after {known_at.day} {known_at:%b %Y} and {left} left out."


def assumed_sentence(n_rows: int) -> str | None:
    """How many rows count as received on the day they were done; None: none."""
    if not n_rows:
        return None
    rows = "1 row was" if n_rows == 1 else f"{n_rows:,} rows were"
    return (
        f"{rows} loaded as history: each counts as received on the day it was done, which is "
        "an assumption. On the real day fewer rows may have been there."
    )
