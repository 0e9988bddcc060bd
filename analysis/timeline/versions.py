"""From which day does each version of a line's row hold?

A version holds from its `valid_from`; where that is blank, from the day it was received; the
first version from the start (definitions §2). Of the versions that hold by a day the one
received last counts.
"""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from analysis.days import NO_DAY, days_of
from analysis.tables import Records
from analysis.tables.codes import is_among
from analysis.timeline.axis import starts_of_runs

DATED = ("family_id", "site", "nurse", "dressing_type", "change_every_days", "flush_every_days")
"""Columns of `lines` that hold from a day on; the others are those of the newest version."""


def times_of(
    records: Records, line_ids: pd.Series[Any], as_of: int, zone: ZoneInfo
) -> pd.DataFrame:
    """Return the times of lines in which one version holds, up to the as-of day.

    Parameters
    ----------
    records : Records
        `lines` and `earlier_lines`.
    line_ids : Series
        Codes of the lines wanted.
    as_of : int
        As-of day, days since 1970.
    zone : ZoneInfo
        The programme's time zone, for the day on which a version was received.

    Returns
    -------
    DataFrame
        One row a time, by line code and day: `line_id`, `start` (days since 1970; `NO_DAY`: from
        the start) and columns `DATED`.
    """
    columns = ["line_id", *DATED]
    if records.earlier_lines.empty or records.lines.empty:
        newest = records.lines.loc[is_among(records.lines["line_id"], line_ids), columns]
        return newest.assign(start=NO_DAY).sort_values("line_id", ignore_index=True)
    read = [*columns, "received_at", "row", "valid_from"]
    both = pd.concat([records.earlier_lines[read], records.lines[read]], ignore_index=True)
    versions = both[is_among(both["line_id"], line_ids)]
    versions = versions.sort_values(["line_id", "received_at", "row"], ignore_index=True)
    line = pd.factorize(versions["line_id"])[0].astype(np.int64)
    received = versions["received_at"].dt.tz_localize("UTC").dt.tz_convert(zone)
    start = days_of(versions["valid_from"])
    start = np.where(start == NO_DAY, days_of(received.dt.tz_localize(None)), start)
    start[starts_of_runs(line)] = NO_DAY
    # Before: one row a version in order of receipt; after: one row a time in order of day.
    nth = np.lexsort((np.arange(len(line)), start, line))
    nth = nth[start[nth] <= as_of]
    line, start, newest_by_then = line[nth], start[nth], np.maximum.accumulate(nth)
    last = np.ones(len(nth), dtype=bool)
    last[:-1] = (line[1:] != line[:-1]) | (start[1:] != start[:-1])
    line, start, version = line[last], start[last], newest_by_then[last]
    found = versions[columns].iloc[version].assign(start=start)
    # A version in which nothing of this changed starts no time of its own.
    turns = starts_of_runs(line)
    for name in DATED:
        turns |= starts_of_runs(pd.factorize(found[name])[0].astype(np.int64))
    return found[turns].reset_index(drop=True)
