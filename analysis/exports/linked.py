"""What does somebody find who links an extract to what is known of the programme?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, day_number, days_of
from analysis.exports.deidentified import Extract
from analysis.exports.pseudonyms import Key
from analysis.snapshot import Snapshot


def dated_by_end(extract: Extract, seen: Snapshot, key: Key) -> int:
    """Count children whose true dates follow from the day on which the extract ends.

    The attack: the end of a child's last period at home is taken for that day, and the distance between
    both for the number of days by which the child's dates were moved.

    Parameters
    ----------
    extract : Extract
        What is written.
    seen : Snapshot
        What it was made from; its as-of day is the end.
    key : Key
        Tells whether a guess is right.

    Returns
    -------
    int
        Children whose shift is guessed right.
    """
    guessed = last_days(extract) - day_number(seen.as_of)
    children = pd.Series(seen.records.lines["child_id"].unique(), dtype="string")
    true = pd.Series(key.shifts(children), index=key.codes("child", children))
    return int(np.count_nonzero(guessed == true.reindex(guessed.index)))


def last_days(extract: Extract) -> pd.Series[int]:
    """The last day at home of each child in an extract, as a day number, by the child's code."""
    periods = extract.tables["home_periods"].frame
    days = pd.Series(days_of(periods["end_on"]), index=periods.index)
    return days[days != NO_DAY].groupby(periods["child_id"]).max()
