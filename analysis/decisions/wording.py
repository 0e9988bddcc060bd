"""How are the reasons for a call said in plain words?

The only place with sentences of the call list. Each function takes columns (one value a
reason) and returns one text a reason.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

Texts = pd.Series
MONTHS = np.array(
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
)


def day_words(days: pd.Series[Any], as_of: date) -> pd.Series[str]:
    """Dates as people say them: "3 Mar", with the year where it is not the as-of day's.

    Examples
    --------
    >>> days = pd.Series(pd.to_datetime(["2031-03-03", "2030-12-24"]))
    >>> list(day_words(days, date(2031, 3, 9)))
    ['3 Mar', '24 Dec 2030']
    """
    at = pd.DatetimeIndex(days)
    known = ~np.asarray(at.isna())
    words = np.full(len(at), "an unknown day", dtype=object)
    day = at.day[known].astype(str).to_numpy(dtype=object)
    month = MONTHS[at.month[known].to_numpy(dtype=np.int64) - 1].astype(object)
    year = at.year[known].to_numpy(dtype=np.int64)
    shown_year = np.where(year == as_of.year, "", " " + year.astype(str).astype(object))
    words[known] = day + " " + month + shown_year
    return pd.Series(words, index=days.index, dtype="string")


def counted(number: pd.Series[Any], one: str, many: str) -> pd.Series[str]:
    """Number and noun: "1 day", "3 days"."""
    noun = np.where(number.to_numpy() == 1, f" {one}", f" {many}")
    return pd.Series(number.astype("string") + noun, index=number.index, dtype="string")
