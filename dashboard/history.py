"""Which spans and marks does the history of one line hold?

Frames in, frames out: `spans` are stretches of days, `marks` single days; each names the
stored row it comes from, so that a click leads to it. Nothing is counted here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

SPANS = ["kind", "start_on", "end_on", "label", "table", "row"]
"""Columns of `spans`: kind (`in_date`, `out_of_date`, `unscheduled`, `away`, `silent`), half-open
days, a label, and the stored row (`row` -1: none)."""
MARKS = ["track", "kind", "on", "label", "table", "row"]
"""Columns of `marks`: track of the figure, kind of mark, its day, a label, the stored row."""

NO_ROW = -1


@dataclass(frozen=True)
class Codes:
    """Code lists of the policy in force and of the vocabulary."""

    labels: Mapping[str, str]
    skin: frozenset[str]
    red: frozenset[str]
    compromised: frozenset[str]
    nothing_seen: str


@dataclass(frozen=True)
class LineRecords:
    """What is known of one line, and of its child and family, up to the as-of day."""

    intervals: pd.DataFrame
    """Dressing intervals of the line (INTERVALS)."""
    entries: pd.DataFrame
    """Home-log rows of the line."""
    family_entries: pd.DataFrame
    """Home-log rows of the family."""
    line: pd.DataFrame
    """The registry row of the line."""
    stays: pd.DataFrame
    outcomes: pd.DataFrame
    calls: pd.DataFrame
    heard_from: pd.Timestamp
    """Day from which the family was expected to log."""
    silent_after_days: int
    """A run of days without an entry is shown when it is longer than this."""


def spans_of(records: LineRecords, as_of: date) -> pd.DataFrame:
    """Stretches of care in and out of date, nights away and silence, in order of time."""
    now = pd.Timestamp(as_of)
    parts = [_care_spans(records)]
    stays = records.stays
    parts.append(
        pd.DataFrame(
            {
                "kind": "away",
                "start_on": stays["from_on"],
                "end_on": stays["to_on"].where(stays["to_on"] < now, now),
                "label": "away: " + stays["place"].astype("string").fillna("place not recorded"),
                "table": "stays",
                "row": stays["row"],
            }
        )
    )
    parts.append(_silences(records, now))
    spans = pd.concat([p[SPANS] for p in parts if len(p)] or [_nothing(SPANS)], ignore_index=True)
    spans = spans[spans["start_on"] < spans["end_on"]]
    return spans.sort_values(["start_on", "kind"], ignore_index=True)


def _care_spans(records: LineRecords) -> pd.DataFrame:
    """One row an interval before; after, one or two: its days in date, and those out of date."""
    care = records.intervals.copy()
    care["table"], care["row"] = _where_changed(records)
    until = care["allowed_until"]
    in_date = care.assign(
        kind=until.isna().map({True: "unscheduled", False: "in_date"}),
        label=until.isna().map(
            {True: "dressing on, no change due by the calendar", False: "dressing in date"}
        ),
        end_on=care["end_on"].where(until.isna() | (care["end_on"] < until), until),
    )
    late = care[(care["end_on"] > until).to_numpy(dtype=bool)]
    late = late.assign(kind="out_of_date", label="dressing out of date", start_on=until)
    return pd.concat([in_date[SPANS], late[SPANS]], ignore_index=True)


def _silences(records: LineRecords, now: pd.Timestamp) -> pd.DataFrame:
    """One row a run of days without any entry of the family that is longer than the limit."""
    heard = records.family_entries["done_on"].drop_duplicates().sort_values()
    heard = heard[(heard > records.heard_from) & (heard <= now)]
    last = pd.concat([pd.Series([records.heard_from]), heard], ignore_index=True)
    following = pd.concat([heard, pd.Series([now])], ignore_index=True)
    quiet = (following - last) > pd.Timedelta(days=records.silent_after_days)
    return pd.DataFrame(
        {
            "kind": "silent",
            "start_on": last[quiet] + pd.Timedelta(days=1),
            "end_on": following[quiet],
            "label": "nothing logged",
            "table": "home_log",
            "row": NO_ROW,
        }
    ).astype({"start_on": "datetime64[s]", "end_on": "datetime64[s]"})


def _where_changed(records: LineRecords) -> tuple[pd.Series[Any], pd.Series[Any]]:
    """Table and row of each interval's change: the log, else a stay, else the registry."""
    care = records.intervals
    logged = care["row"] >= 0
    by_stay = records.stays.drop_duplicates("dressing_on").set_index("dressing_on")["row"]
    stay_row = care["start_on"].map(by_stay)
    line_row = int(records.line["row"].iloc[0]) if len(records.line) else NO_ROW
    table = pd.Series("home_log", index=care.index, dtype="string").where(logged, "lines")
    table = table.mask(~logged & stay_row.notna(), "stays")
    row = care["row"].where(logged, stay_row.fillna(line_row)).astype("int64")
    return table, row


def marks_of(records: LineRecords, codes: Codes, as_of: date) -> pd.DataFrame:
    """Changes, reports, findings, red flags, entries, calls and harm, in order of time."""
    now = pd.Timestamp(as_of)
    entries = records.entries[records.entries["done_on"] <= now]
    family = records.family_entries[records.family_entries["done_on"] <= now]
    parts = [
        _changes(records),
        _reports(entries, codes),
        *_findings(entries, codes),
        _marks(family, "log", "entry", "entry: " + _words(family["kind"]), "done_on", "home_log"),
        _calls(records.calls),
        _marks(
            records.outcomes[records.outcomes["onset_on"] <= now],
            "harm",
            "harm",
            _words(records.outcomes["outcome"]),
            "onset_on",
            "outcomes",
        ),
    ]
    marks = pd.concat([p for p in parts if len(p)] or [_nothing(MARKS)], ignore_index=True)
    return marks.sort_values(["on", "track", "row"], ignore_index=True)


def _marks(
    rows: pd.DataFrame, track: str, kind: str, label: pd.Series[Any], on: str, table: str
) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "track": track,
            "kind": kind,
            "on": rows[on],
            "label": label.reindex(rows.index),
            "table": table,
            "row": rows["row"],
        }
    )


def _words(codes: pd.Series[Any]) -> pd.Series[Any]:
    return codes.astype("string").str.replace("_", " ", regex=False)


def _changes(records: LineRecords) -> pd.DataFrame:
    care = records.intervals
    table, row = _where_changed(records)
    home = care["by_home"].to_numpy(dtype=bool)
    put_on = ", " + _words(care["dressing_type"])
    return pd.DataFrame(
        {
            "track": "dressing",
            "kind": pd.Series("changed_by_clinic", index=care.index, dtype="string").mask(
                home, "changed"
            ),
            "on": care["start_on"],
            "label": pd.Series(
                "dressing changed by the clinic", index=care.index, dtype="string"
            ).mask(home, "dressing changed at home")
            + put_on.fillna(""),
            "table": table,
            "row": row,
        }
    )


def _reports(entries: pd.DataFrame, codes: Codes) -> pd.DataFrame:
    condition = entries["dressing_condition"].astype("string")
    reason = entries["change_reason"].astype("string")
    said = condition.where(condition.isin(codes.compromised), reason)
    said = said[said.isin(codes.compromised).to_numpy(dtype=bool)]
    rows = entries.loc[said.index]
    return _marks(rows, "found", "found", "dressing found " + said, "done_on", "home_log")


def _findings(entries: pd.DataFrame, codes: Codes) -> list[pd.DataFrame]:
    """Skin findings, watched findings, clear looks and red flags of the entries that say them."""
    said = entries.loc[entries["findings"].notna(), "findings"]
    sets = {text: frozenset(text.split(";")) for text in said.unique()}

    def those(
        kind: str, track: str, before: str, wanted: Mapping[str, frozenset[str]]
    ) -> pd.DataFrame:
        labels = {
            text: before
            + ", ".join(codes.labels.get(c, c.replace("_", " ")) for c in sorted(found))
            for text, found in wanted.items()
            if found
        }
        rows = entries.loc[said.index[said.isin(list(labels)).to_numpy(dtype=bool)]]
        return _marks(rows, track, kind, said.map(labels), "done_on", "home_log")

    looked = frozenset({codes.nothing_seen})
    clear = {t: looked for t, found in sets.items() if found == looked}
    return [
        those("finding", "skin", "skin finding: ", {t: f & codes.skin for t, f in sets.items()}),
        those(
            "watched",
            "skin",
            "watched: ",
            {t: f - codes.red - looked for t, f in sets.items() if not f & codes.skin},
        ),
        those("clear", "skin", "", clear).assign(label="looked, nothing seen"),
        those("red_flag", "red_flag", "red flag: ", {t: f & codes.red for t, f in sets.items()}),
    ]


def _calls(calls: pd.DataFrame) -> pd.DataFrame:
    reached = calls["reached"].to_numpy(dtype=bool)
    kind = pd.Series("not_reached", index=calls.index, dtype="string").mask(reached, "reached")
    label = pd.Series("call, nobody reached", index=calls.index, dtype="string").mask(
        reached, "call, reached"
    )
    return _marks(
        calls, "calls", "call", label + " (by " + calls["made_by"] + ")", "made_on", "calls"
    ).assign(kind=kind)


def _nothing(columns: list[str]) -> pd.DataFrame:
    dates = {"start_on", "end_on", "on"}
    return pd.DataFrame(
        {c: pd.Series([], dtype="datetime64[s]" if c in dates else "object") for c in columns}
    )
