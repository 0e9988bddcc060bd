"""How does a table read as CSV, wherever it is exported?"""

from __future__ import annotations

import re

import pandas as pd

DECIMALS = "%.6g"
"""Shares and rates in CSV and JSON; counts and dates are exact."""


FORMULA = re.compile(r"^(?=[=@\t\r]|[+-](?!\d*\.?\d+(?:[eE][+-]?\d+)?$))")
"""Start of a cell that a spreadsheet program would compute."""
_BEGINS = r"[=@\t\r+-]"
"""Such a cell begins with one of these."""


def guarded(cell: str) -> str:
    """A cell that no spreadsheet program computes; ingest removes the quotation mark.

    *Source:* OWASP, CSV Injection (from memory).

    Examples
    --------
    >>> [guarded(cell) for cell in ("=1+1", "-1+1", "-1.5", "F1")]
    ["'=1+1", "'-1+1", '-1.5', 'F1']
    """
    return FORMULA.sub("'", cell)


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

    Texts and headers are `guarded`.

    Examples
    --------
    >>> as_csv(pd.DataFrame({"on": pd.to_datetime(["2031-03-01", None]), "n": [1, 2]}))
    'on,n\n2031-03-01,1\n,2\n'
    """
    out = plain(frame)
    for name in out.columns:
        if isinstance(out[name].dtype, pd.StringDtype):
            # A column in which no cell begins like one is known at once; in the others each is tried.
            if out[name].str.match(_BEGINS).any():
                out[name] = out[name].str.replace(FORMULA, "'", regex=True)
        elif pd.api.types.is_object_dtype(frame[name]):
            out[name] = out[name].map(lambda v: guarded(v) if isinstance(v, str) else v)
    return out.rename(columns=guarded).to_csv(index=False, lineterminator="\n")
