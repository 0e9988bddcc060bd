"""How are the reasons for a call said in plain words?

The only place with sentences of the call list. Each function takes columns (one value a
reason) and returns one text a reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.words import MONTHS

_MONTHS = np.array(MONTHS)


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
    month = _MONTHS[at.month[known].to_numpy(dtype=np.int64) - 1].astype(object)
    year = at.year[known].to_numpy(dtype=np.int64)
    shown_year = np.where(year == as_of.year, "", " " + year.astype(str).astype(object))
    words[known] = day + " " + month + shown_year
    return pd.Series(words, index=days.index, dtype="string")


def in_words(share: npt.NDArray[np.float64]) -> npt.NDArray[np.object_]:
    """Expected shares as natural frequencies; none where there is no share.

    Examples
    --------
    >>> for said in in_words(np.array([0.31, 0.042, 0.001, 0.97])):
    ...     print(said)
    about 3 in 10 such mornings were followed by an event within 7 days
    about 4 in 100 such mornings were followed by an event within 7 days
    fewer than 1 in 100 such mornings were followed by an event within 7 days
    more than 9 in 10 such mornings were followed by an event within 7 days
    """
    known = np.nan_to_num(share)
    tens = np.char.add(np.char.add("about ", np.rint(known * 10).astype(int).astype(str)), " in 10")
    hundreds = np.char.add(
        np.char.add("about ", np.rint(known * 100).astype(int).astype(str)), " in 100"
    )
    said = np.select(
        [known < 0.01, known < 0.095, known < 0.95],
        ["fewer than 1 in 100", hundreds, tens],
        "more than 9 in 10",
    )
    told = np.char.add(said, " such mornings were followed by an event within 7 days")
    words: npt.NDArray[np.object_] = told.astype(object)
    words[np.isnan(share)] = None
    return words


def counted(number: pd.Series[Any], one: str, many: str) -> pd.Series[str]:
    """Number and noun: "1 day", "3 days"."""
    noun = np.where(number.to_numpy() == 1, f" {one}", f" {many}")
    return pd.Series(number.astype("string") + noun, index=number.index, dtype="string")


def joined_by(keys: Mapping[str, pd.Series[Any]], texts: pd.Series[Any], mark: str) -> pd.DataFrame:
    """Different texts of each key in their order, joined by a mark; blank texts say nothing.

    Parameters
    ----------
    keys : mapping of name to Series
        What a joined text is made for.
    texts : Series
        Of the same length as each key.
    mark : str
        Put between two texts.

    Returns
    -------
    DataFrame
        One row a key, in order of its first text: the keys and ``said``.

    Examples
    --------
    >>> joined_by({"of": pd.Series(["a", "b", "a"])}, pd.Series(["x", None, "y"]), "; ").values
    array([['a', 'x; y']], dtype=object)
    """
    # Before: one row a text; after: one row a key with its different texts.
    rows = pd.DataFrame({**keys, "said": texts}).astype("string").dropna(subset="said")
    table = pa.Table.from_pandas(rows.drop_duplicates(), preserve_index=False)
    lists = table.group_by(list(keys), use_threads=False).aggregate([("said", "list")])
    told = {name: lists[name].to_pandas() for name in keys}
    texts_of = lists["said_list"].cast(pa.list_(pa.string()))
    return pd.DataFrame({**told, "said": pc.binary_join(texts_of, mark).to_pandas()}).astype(
        "string"
    )
