"""How is a family's history read as a table, one stored row a row, newest first?"""

from __future__ import annotations

import pandas as pd

from dashboard.family.history.records import SPANS_LISTED, TABLE

WEIGHT = ("red_flag", "harm", "found", "skin", "dressing", "connector", "needle", "flush")
"""Which of several findings of a stored row comes first."""


def table_of(spans: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """One row a mark or a span before; after, one a stored row, newest first.

    Parameters
    ----------
    spans, marks : DataFrame
        As `spans_of` and `marks_of` give them.

    Returns
    -------
    DataFrame
        Columns as in `TABLE`. Findings of one stored row are joined by semicolons.
    """
    marks = marks[(marks["track"] != "late").to_numpy(dtype=bool)]
    order = {track: at for at, track in enumerate(WEIGHT)}
    weight = marks["track"].map(order).fillna(len(order))
    marks = marks.loc[weight.sort_values(kind="stable").index].reset_index(drop=True)
    plain = (marks["kind"] == "entry").to_numpy(dtype=bool)
    key = ["table", "row"]
    more = pd.MultiIndex.from_frame(marks.loc[~plain, key])
    known_already = pd.MultiIndex.from_frame(marks[key]).isin(more)
    marks = marks[~(plain & known_already)]
    stored = marks["row"] >= 0
    each = marks["row"].where(stored, -2 - pd.Series(range(len(marks)), index=marks.index))
    joined = marks.assign(each=each).groupby(["table", "each"], sort=False, as_index=False)
    rows = joined.agg(
        on=("on", "first"),
        group=("group", "max"),
        label=("label", "; ".join),
        row=("row", "first"),
        received_on=("received_on", "first"),
    )
    long = spans[spans["kind"].isin(SPANS_LISTED).to_numpy(dtype=bool)]
    long = long.rename(columns={"start_on": "on", "end_on": "until"})
    parts = [p for p in (rows, long) if len(p)]
    both = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=TABLE)
    both = both.reindex(columns=TABLE).astype(
        dict.fromkeys(("on", "until", "received_on"), "datetime64[s]")
    )
    return both.sort_values(["on", "label"], ascending=[False, True], ignore_index=True)
