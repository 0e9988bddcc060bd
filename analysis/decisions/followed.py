"""Which part of the history do some mornings need: families followed then, some at a time?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, day_number, days_of
from analysis.decisions.history import History, Versions
from analysis.tables.codes import is_among

MOST_ENTRIES = 500_000
"""Entries of the log, once for each morning, that are handled at one time."""

Flags = npt.NDArray[np.bool_]


def followed(
    history: History, moments: Sequence[int], mornings: Sequence[date]
) -> Iterator[pd.Index[str]]:
    """Yield the followed families in shares whose entries fit into memory once for each morning.

    Parameters
    ----------
    history : History
        Every version of every row.
    moments : sequence of int
        Microseconds UTC: what was received by then is known on the morning.
    mornings : sequence of date
        A family is followed that had a line in place and come home on one of these.
    """
    lines = history.tables["lines"]
    here = np.zeros(len(lines.frame), dtype=np.bool_)
    for moment, day in zip(moments, mornings, strict=True):
        known = lines.known(moment)
        here[known[_in_place(lines.frame.iloc[known], day_number(day))]] = True
    # On a day a line may be of the family that an earlier version of its row names.
    ever = is_among(lines.frame["line_id"], lines.frame.loc[here, "line_id"])
    families = pd.Index(lines.frame.loc[ever, "family_id"].unique()).sort_values()
    entries = int(history.named_in_log("family_id", families).sum())
    shares = -(-entries * len(mornings) // MOST_ENTRIES) or 1
    for at in np.array_split(np.arange(len(families)), shares):
        if len(at):
            yield families[at]


def _in_place(lines: pd.DataFrame, day: int) -> Flags:
    ends = [days_of(lines[name]) for name in ("removed_on", "left_on")]
    gone = [(end != NO_DAY) & (end <= day) for end in ends]
    return (days_of(lines["home_from"]) <= day) & ~gone[0] & ~gone[1]


def history_of(history: History, families: pd.Index[str]) -> History:
    """All versions of the rows of some families, and of lines that were ever theirs."""
    lines = history.tables["lines"]
    theirs = is_among(lines.frame["family_id"], families)
    line_ids = pd.Index(lines.frame.loc[theirs, "line_id"].unique())
    of_line = is_among(lines.frame["line_id"], line_ids)
    children = lines.frame.loc[of_line, "child_id"].unique()
    logged = history.named_in_log("family_id", families) | history.named_in_log("line_id", line_ids)
    log = history.tables["home_log"].only(logged)
    chosen = {
        "lines": lines.only(of_line),
        "home_log": log,
        "stays": _where(history.tables["stays"], "child_id", children),
        "sign_offs": _where(
            history.tables["sign_offs"], "caregiver_id", log.frame["caregiver_id"].unique()
        ),
    }
    for name in ("caregivers", "outcomes"):  # no reason to call is found in them
        chosen[name] = history.tables[name].only(np.zeros(len(history.tables[name].frame), bool))
    acts = (_where(acts, "family_id", families) for acts in (history.calls, history.arrangements))
    return History(chosen, *acts)


def _where(versions: Versions, column: str, values: Iterable[object]) -> Versions:
    return versions.only(is_among(versions.frame[column], values))
