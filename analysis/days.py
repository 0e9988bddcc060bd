"""Calendar days as whole numbers: days since 1 January 1970.

The only place where dates become integers and integers become dates. Frames hold dates;
calculations on many days use int64 arrays, with `NO_DAY` for a missing date.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

NO_DAY = int(np.iinfo(np.int64).min)
"""What :func:`days_of` gives for a missing date."""
_FIRST = date(1970, 1, 1).toordinal()


def day_number(day: date) -> int:
    """Return the number of one day.

    Examples
    --------
    >>> day_number(date(1970, 1, 2))
    1
    """
    return day.toordinal() - _FIRST


def date_at(number: int) -> date:
    """Return the date of a day number; the inverse of :func:`day_number`.

    Examples
    --------
    >>> date_at(1)
    datetime.date(1970, 1, 2)
    """
    return date.fromordinal(int(number) + _FIRST)


def days_of(dates: pd.Series[Any]) -> npt.NDArray[np.int64]:
    """Return the day numbers of a column of dates; a missing date gives `NO_DAY`."""
    return np.asarray(dates.to_numpy(), dtype="datetime64[D]").astype(np.int64)


def dates_of(days: npt.ArrayLike) -> npt.NDArray[np.datetime64]:
    """Return the dates of day numbers as datetime64[s], with NaT for `NO_DAY`."""
    return np.asarray(days, dtype=np.int64).astype("datetime64[D]").astype("datetime64[s]")
