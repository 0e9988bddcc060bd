"""Which part of the history do some mornings need: families followed then?"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.decisions.history import History, Versions
from analysis.decisions.turning_mornings import GROUP, Groups
from analysis.tables.codes import is_among

Flags = npt.NDArray[np.bool_]


def followed(lines: Versions, groups: Groups) -> Flags:
    """Which groups had a line in place and come home on one of the mornings; shape (n_rows, 1)."""
    found = np.zeros((groups.n_rows, 1), dtype=np.bool_)
    for moment, day in zip(groups.moments, groups.mornings, strict=True):
        known = lines.known(int(moment))
        here = known[_in_place(lines.frame.iloc[known], int(day))]
        found[lines.frame[GROUP].to_numpy()[here]] = True
    return found


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
