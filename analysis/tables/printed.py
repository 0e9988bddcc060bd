"""How does a table read as CSV, wherever it is exported?"""

from __future__ import annotations

import pandas as pd

DECIMALS = "%.6g"
"""Shares and rates in CSV and JSON; counts and dates are exact."""


def plain(frame: pd.DataFrame) -> pd.DataFrame:
    """Dates as ISO text, numbers with six figures, everything else as it is.

    Examples
    --------
    >>> plain(pd.DataFrame({"on": pd.to_datetime(["2031-03-01"]), "share": [1 / 3]})).values
    array([['2031-03-01', 0.333333]], dtype=object)
    """
    out = frame.copy()
    for name in frame.columns:
        if pd.api.types.is_datetime64_any_dtype(frame[name]):
            out[name] = frame[name].dt.strftime("%Y-%m-%d").astype("object")
        elif pd.api.types.is_float_dtype(frame[name]):
            out[name] = frame[name].map(lambda v: float(DECIMALS % v), na_action="ignore")
        elif isinstance(frame[name].dtype, pd.CategoricalDtype):
            out[name] = frame[name].astype("string")
    return out


def as_csv(frame: pd.DataFrame) -> str:
    r"""The frame as CSV: a header row, ISO dates, points for decimals, blank for no value.

    Examples
    --------
    >>> as_csv(pd.DataFrame({"on": pd.to_datetime(["2031-03-01", None]), "n": [1, 2]}))
    'on,n\n2031-03-01,1\n,2\n'
    """
    return plain(frame).to_csv(index=False, lineterminator="\n")
