"""During which days was care in or out of date, a child away, a family silent?"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from dashboard.family.history.records import (
    DAILY,
    DRESSING,
    FAMILY,
    NO_ROW,
    SPANS,
    FamilyRecords,
    care_of,
    nothing,
    worded,
)


def spans_of(records: FamilyRecords, as_of: date) -> pd.DataFrame:
    """Stretches of care in and out of date, nights away and silence, in order of time."""
    now = pd.Timestamp(as_of)
    parts = [
        _care_spans(records),
        _unscored(records, now),
        _not_accessed(records, now),
        _away(records, now),
        _silences(records, now),
    ]
    spans = pd.concat([p[SPANS] for p in parts if len(p)] or [nothing(SPANS)], ignore_index=True)
    spans = spans[(spans["start_on"] < spans["end_on"]).to_numpy(dtype=bool)]
    return spans.sort_values(["start_on", "group", "track", "kind"], ignore_index=True)


def _care_spans(records: FamilyRecords) -> pd.DataFrame:
    """One row an interval before; after, one or two: its days in date, and those out of date."""
    care = care_of(records)
    # A clinic's change during a stay holds for every line of the child, also for one placed later.
    placed = care["placed_on"]
    care["start_on"] = care["start_on"].where(care["start_on"] > placed, placed)
    until = care["allowed_until"]
    name = worded(care["task"]).astype("object")
    never_due = until.isna()
    in_date = care.assign(
        kind=never_due.map({True: "unscheduled", False: "in_date"}),
        label=(name + " in date").mask(never_due, name + ": no change due by the calendar"),
        end_on=care["end_on"].where(never_due | (care["end_on"] < until), until),
    )[(care["track"] != DAILY).to_numpy(dtype=bool)]
    past = (care["end_on"] > until).to_numpy(dtype=bool)
    since = until.where(until > placed, placed)
    late = care.assign(kind="out_of_date", label=name + " out of date", start_on=since)[past]
    return pd.concat([in_date[SPANS], late[SPANS]], ignore_index=True)


def _unscored(records: FamilyRecords, now: pd.Timestamp) -> pd.DataFrame:
    """Days at home (of a port: accessed) on which no change of the dressing is in force."""
    care = records.intervals
    care = care[(care["task"].astype(str) == DRESSING).to_numpy(dtype=bool)]
    gaps = _gaps(care, records.lines, now)
    home = _both(gaps, records.home_periods)
    is_port = home["line"].isin(_ports(records)).to_numpy(dtype=bool)
    accessed = records.accessed_periods.fillna({"end_on": now})
    spans = pd.concat([home[~is_port], _both(home[is_port], accessed)], ignore_index=True)
    label = "dressing not scored: no change known"
    return _grouped(spans, records).assign(track=DRESSING, kind="unscored", label=label)


def _not_accessed(records: FamilyRecords, now: pd.Timestamp) -> pd.DataFrame:
    """Days at home on which a port is not accessed, so that nothing is due."""
    lines = records.lines
    ports = lines[lines["line"].isin(_ports(records)).to_numpy(dtype=bool)]
    gaps = _gaps(records.accessed_periods.fillna({"end_on": now}), ports, now)
    spans = _grouped(_both(gaps, records.home_periods), records)
    return spans.assign(track=DRESSING, kind="not_accessed", label="port not accessed")


def _ports(records: FamilyRecords) -> pd.Series[Any]:
    lines = records.lines
    is_port = (lines["line_type"].astype(str) == "implanted_port").to_numpy(dtype=bool)
    return lines.loc[is_port, "line"]


def _gaps(spans: pd.DataFrame, lines: pd.DataFrame, now: pd.Timestamp) -> pd.DataFrame:
    """One row a stretch of a line that no span covers, from its placing to now."""
    edges = pd.concat(
        [
            pd.DataFrame({"line": lines["line"], "from": lines["placed_on"]}),
            pd.DataFrame({"line": spans["line"], "from": spans["end_on"]}),
        ]
    )
    starts = pd.concat(
        [
            pd.DataFrame({"line": spans["line"], "to": spans["start_on"]}),
            pd.DataFrame({"line": lines["line"], "to": now}),
        ]
    )
    edges = edges.sort_values(["line", "from"], ignore_index=True)
    starts = starts.sort_values(["line", "to"], ignore_index=True)
    return pd.DataFrame(
        {"line": edges["line"], "start_on": edges["from"], "end_on": starts["to"]}
    ).astype({"start_on": "datetime64[s]", "end_on": "datetime64[s]"})


def _both(some: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """One row a stretch of a line that lies in a span of both."""
    pairs = some.merge(others[["line", "start_on", "end_on"]], on="line", suffixes=("", "_too"))
    start = pairs[["start_on", "start_on_too"]].max(axis=1)
    end = pairs[["end_on", "end_on_too"]].min(axis=1)
    both = pd.DataFrame({"line": pairs["line"], "start_on": start, "end_on": end})
    return both[(start < end).to_numpy(dtype=bool)].reset_index(drop=True)


def _grouped(spans: pd.DataFrame, records: FamilyRecords) -> pd.DataFrame:
    of_line = records.lines.set_index("line")["line_id"]
    return spans.assign(group=spans["line"].map(of_line), table="lines", row=NO_ROW)


def _away(records: FamilyRecords, now: pd.Timestamp) -> pd.DataFrame:
    """Nights away; they belong to the group of the child's last line."""
    stays = records.stays
    last = records.lines.drop_duplicates("child_id", keep="last").set_index("child_id")["line_id"]
    place = stays["place"].astype("string").str.replace("_", " ").fillna("place not recorded")
    return pd.DataFrame(
        {
            "group": stays["child_id"].map(last),
            "track": "away",
            "kind": "away",
            "start_on": stays["from_on"],
            "end_on": stays["to_on"].where(stays["to_on"] < now, now),
            "label": "child " + stays["child_id"].astype("string") + " away: " + place,
            "table": "stays",
            "row": stays["row"],
        }
    )


def _silences(records: FamilyRecords, now: pd.Timestamp) -> pd.DataFrame:
    """One row a run of days without any entry of the family that is longer than the limit."""
    since = pd.Timestamp(records.lines["home_from"].min())
    heard = records.entries["done_on"].drop_duplicates().sort_values()
    heard = heard[(heard > since) & (heard <= now)]
    days = heard.to_numpy().astype("datetime64[s]")
    last = pd.Series(np.insert(days, 0, since.to_datetime64()))
    following = pd.Series(np.append(days, now.to_datetime64().astype(days.dtype)))
    quiet = (following - last) > pd.Timedelta(days=records.silent_after_days)
    return pd.DataFrame(
        {
            "group": FAMILY,
            "track": "log",
            "kind": "silent",
            "start_on": last[quiet] + pd.Timedelta(days=1),
            "end_on": following[quiet],
            "label": "nothing logged",
            "table": "home_log",
            "row": NO_ROW,
        }
    ).astype({"start_on": "datetime64[s]", "end_on": "datetime64[s]"})
