"""What does somebody find who links an extract to what is known of the programme?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, day_number, days_of
from analysis.exports.deidentified import Extract
from analysis.exports.pseudonyms import Key
from analysis.exports.rare_values import HIDDEN
from analysis.snapshot import Snapshot

_OF_PORTS = ("port_accessed", "port_deaccessed", "needle_change")


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


def read_off(extract: Extract, seen: Snapshot, key: Key) -> dict[str, tuple[int, int]]:
    """Count children whose hidden words follow from other tables of the extract.

    The attacks: a line whose kind is hidden and whose log shows an access is taken for a port; the
    days between due changes of a line are taken for an order that is hidden.

    Returns
    -------
    dict of (int, int)
        By what is hidden: how many children have it hidden, and how many of them were found.
    """
    lines = extract.tables["lines"].frame
    true = seen.records.lines.drop_duplicates("line_id", keep="last")
    codes = key.codes("line", true["line_id"].reset_index(drop=True)).astype("object").tolist()
    found = {}
    kinds = pd.Series(true["line_type"].astype("object").tolist(), index=codes)
    log = extract.tables["home_log"].frame
    accessed = set(log["line_id"][log["kind"].astype("string").isin(_OF_PORTS)].astype("object"))
    hidden = lines[(lines["line_type"].astype("string") == HIDDEN).to_numpy(dtype=bool)]
    is_port = (kinds.reindex(hidden["line_id"].astype("object")) == "implanted_port").to_numpy()
    guessed = hidden["line_id"].astype("object").isin(accessed).to_numpy(dtype=bool)
    right = hidden["child_id"][guessed & is_port]
    found["kind of line"] = (hidden["child_id"].nunique(), right.nunique())
    orders = pd.Series(
        true["change_every_days"].astype("Int64").tolist(), index=codes, dtype="Int64"
    )
    orders = orders.reindex(lines["line_id"].astype("object"))
    is_hidden = lines["change_every_days"].isna().to_numpy() & orders.notna().to_numpy()
    spans = extract.tables["intervals"].frame
    spans = spans[(spans["task"].astype("string") == "dressing").to_numpy(dtype=bool)]
    days = spans.dropna(subset=["interval_days"]).groupby("line_id", observed=True)["interval_days"]
    usual = days.max().reindex(lines["line_id"]).astype("Int64").to_numpy()
    same = (pd.Series(usual, dtype="Int64") == orders.reset_index(drop=True)).fillna(False)
    right = lines["child_id"][is_hidden & same.to_numpy(dtype=bool)]
    found["order"] = (lines["child_id"][is_hidden].nunique(), right.nunique())
    return found


def last_days(extract: Extract) -> pd.Series[int]:
    """The last day at home of each child in an extract, as a day number, by the child's code."""
    periods = extract.tables["home_periods"].frame
    days = pd.Series(days_of(periods["end_on"]), index=periods.index)
    return days[days != NO_DAY].groupby(periods["child_id"]).max()
