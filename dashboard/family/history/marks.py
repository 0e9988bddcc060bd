"""What was done, found, noted, called about, trained and confirmed, and on which day?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from dashboard.family.history.records import (
    DAILY,
    DRESSING,
    FAMILY,
    LATE_DAYS,
    MARKS,
    Codes,
    FamilyRecords,
    care_of,
    nothing,
    worded,
)


def marks_of(records: FamilyRecords, codes: Codes, as_of: date) -> pd.DataFrame:
    """What was done, found, noted, called about, trained and confirmed, in order of time."""
    now = pd.Timestamp(as_of)
    entries = records.entries[(records.entries["done_on"] <= now).to_numpy(dtype=bool)]
    entries = entries.assign(received_on=received_days(entries["received_at"], records.zone))
    outcomes = records.outcomes[(records.outcomes["onset_on"] <= now).to_numpy(dtype=bool)]
    signed = records.sign_offs[(records.sign_offs["signed_on"] <= now).to_numpy(dtype=bool)]
    late = (entries["received_on"] - entries["done_on"]).dt.days > LATE_DAYS
    tardy = entries[late.to_numpy(dtype=bool)]
    parts = [
        _changes(records, entries),
        _accesses(entries),
        _reports(entries, codes),
        *_findings(entries, codes),
        *([_notes(entries)] if records.sees_notes else []),
        _of_log(entries, FAMILY, "log", "entry", "entry: " + worded(entries["kind"])),
        _of_log(tardy, tardy["line_id"], "late", "late", "reported late: " + worded(tardy["kind"])),
        _calls(records.calls),
        _signed(signed),
        _marks(
            outcomes, outcomes["line_id"], "harm", "harm", worded(outcomes["outcome"]),
            ("outcomes", "onset_on"),
        ),
    ]  # fmt: skip
    marks = pd.concat([p for p in parts if len(p)] or [nothing(MARKS)], ignore_index=True)
    return marks.sort_values(["on", "group", "track", "row"], ignore_index=True)


def received_days(moments: pd.Series[Any], zone: ZoneInfo) -> pd.Series[Any]:
    """Days in the programme's zone of moments in UTC.

    Examples
    --------
    >>> moments = pd.Series(pd.to_datetime(["2031-03-01T23:30"]))
    >>> str(received_days(moments, ZoneInfo("Asia/Tokyo")).iloc[0].date())
    '2031-03-02'
    """
    local = pd.to_datetime(moments).dt.tz_localize("UTC").dt.tz_convert(zone)
    return local.dt.tz_localize(None).dt.normalize().astype("datetime64[s]")


def _marks(
    rows: pd.DataFrame, group: Any, track: str, kind: Any, label: Any, where: tuple[str, str]
) -> pd.DataFrame:
    table, on = where
    received = rows.get("received_on", pd.NaT)
    return pd.DataFrame(
        {
            "group": group,
            "track": track,
            "kind": kind,
            "on": rows[on],
            "label": label,
            "table": table,
            "row": rows["row"],
            "received_on": received,
        },
        index=rows.index,
    ).astype({"received_on": "datetime64[s]"})


def _of_log(
    rows: pd.DataFrame, group: Any, track: str, kind: str, label: pd.Series[Any]
) -> pd.DataFrame:
    return _marks(rows, group, track, kind, label.reindex(rows.index), ("home_log", "done_on"))


def _changes(records: FamilyRecords, entries: pd.DataFrame) -> pd.DataFrame:
    care = care_of(records)
    care = care[(care["start_on"] >= care["placed_on"]).to_numpy(dtype=bool)]
    received = entries.set_index("row")["received_on"]
    from_log = care["row"].where((care["table"] == "home_log").to_numpy(dtype=bool))
    home = care["by_home"].to_numpy(dtype=bool)
    of_dressing = (care["track"] == DRESSING).to_numpy(dtype=bool)
    put_on = (", " + worded(care["dressing_type"])).fillna("").where(of_dressing, "")
    done = _either((care["track"] == DAILY).to_numpy(dtype=bool), " done", " changed", care)
    who = _either(home, " at home", " by the clinic", care)
    return pd.DataFrame(
        {
            "group": care["group"],
            "track": care["track"],
            "kind": np.where(
                care["track"] == DAILY, "flushed", np.where(home, "changed", "changed_by_clinic")
            ),
            "on": care["start_on"],
            "label": worded(care["task"]) + done + who + put_on,
            "table": care["table"],
            "row": care["row"],
            "received_on": from_log.map(received),
        }
    ).astype({"received_on": "datetime64[s]"})


def _accesses(entries: pd.DataFrame) -> pd.DataFrame:
    kind = entries["kind"].astype("string")
    rows = entries[kind.isin(["port_accessed", "port_deaccessed"]).to_numpy(dtype=bool)]
    marks = _of_log(rows, rows["line_id"], DRESSING, "", worded(rows["kind"]))
    return marks.assign(kind=rows["kind"].astype("object"))


def _reports(entries: pd.DataFrame, codes: Codes) -> pd.DataFrame:
    condition = entries["dressing_condition"].astype("string")
    reason = entries["change_reason"].astype("string")
    noted = condition.where(condition.isin(codes.compromised), reason)
    noted = noted[noted.isin(codes.compromised).to_numpy(dtype=bool)]
    rows = entries.loc[noted.index]
    return _of_log(rows, rows["line_id"], "found", "found", "dressing found " + noted)


def _findings(entries: pd.DataFrame, codes: Codes) -> list[pd.DataFrame]:
    """Skin findings, watched findings, clear looks and red flags of the entries that say them."""
    noted = entries.loc[entries["findings"].notna().to_numpy(dtype=bool), "findings"]
    sets = {text: frozenset(text.split(";")) for text in noted.unique()}

    def those(
        kind: str, track: str, before: str, wanted: Mapping[str, frozenset[str]]
    ) -> pd.DataFrame:
        labels = {
            text: before
            + ", ".join(codes.labels.get(c, c.replace("_", " ")) for c in sorted(found))
            for text, found in wanted.items()
            if found
        }
        rows = entries.loc[noted.index[noted.isin(list(labels)).to_numpy(dtype=bool)]]
        return _of_log(rows, rows["line_id"], track, kind, noted.map(labels))

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


def _notes(entries: pd.DataFrame) -> pd.DataFrame:
    noted = entries["note"].dropna()
    noted = noted[(noted.str.strip() != "").to_numpy(dtype=bool)]
    rows = entries.loc[noted.index]
    return _of_log(rows, FAMILY, "notes", "note", "note: " + noted)


def _calls(calls: pd.DataFrame) -> pd.DataFrame:
    reached = (calls["outcome"] == "reached").to_numpy(dtype=bool)
    noted = _either(reached, "call, reached", "call, no answer", calls)
    kind = np.where(reached, "reached", "not_reached")
    label = noted + " (by " + calls["called_by"].astype("string") + ")"
    return _marks(calls, FAMILY, "calls", kind, label, ("calls", "called_on"))


def _signed(sign_offs: pd.DataFrame) -> pd.DataFrame:
    is_again = sign_offs["kind"].astype("string") == "refresher"
    again = is_again.fillna(value=False).to_numpy(dtype=bool)
    label = _either(again, "refresher: ", "sign-off: ", sign_offs)
    label = label + worded(sign_offs["skill"]) + ", " + worded(sign_offs["outcome"])
    label = label + " (" + sign_offs["caregiver_id"].astype("string") + ")"
    kind = np.where(again, "refresher", "sign_off")
    return _marks(sign_offs, FAMILY, "training", kind, label, ("sign_offs", "signed_on"))


def _either(which: npt.NDArray[np.bool_], yes: str, no: str, rows: pd.DataFrame) -> pd.Series[Any]:
    return pd.Series(np.where(which, yes, no), index=rows.index, dtype="string")
