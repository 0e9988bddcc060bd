"""What was done, found, noted, called about, trained and confirmed, and on which day?

A family has some hundred entries: plain rows are made far quicker than many small frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from dashboard.family.history.records import (
    DAILY,
    DRESSING,
    FAMILY,
    LATE_DAYS,
    Codes,
    FamilyRecords,
    Mark,
    care_of,
    frame_of,
    worded,
)
from dashboard.session.frames import cells

ENTRY = (
    *("row", "line_id", "done_on", "received_on", "kind"),
    *("dressing_condition", "change_reason", "findings", "note"),
)


def marks_of(records: FamilyRecords, codes: Codes, as_of: date) -> pd.DataFrame:
    """What was done, found, noted, called about, trained and confirmed, in order of time."""
    now = pd.Timestamp(as_of)
    entries = records.entries[(records.entries["done_on"] <= now).to_numpy(dtype=bool)]
    received = received_days(entries["received_at"], records.zone)
    entries = entries.assign(received_on=received)
    marks = [
        *_changes(records, dict(zip(entries["row"].tolist(), received.tolist(), strict=True))),
        *_logged(entries, codes, sees_notes=records.sees_notes),
        *_calls(records.calls),
        *_signed(records.sign_offs, now),
        *_harm(records.outcomes, now),
    ]
    marks.sort(key=lambda mark: (mark.on, mark.group is None, mark.group, mark.track, mark.row))
    return frame_of(Mark, marks)


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


def _changes(records: FamilyRecords, received: dict[int, Any]) -> Iterator[Mark]:
    for care in care_of(records):
        if care.start_on < care.placed_on:
            continue
        kind = "changed" if care.by_home else "changed_by_clinic"
        label = worded(care.task) + (" done" if care.task == DAILY else " changed")
        label += " at home" if care.by_home else " by the clinic"
        if care.task == DRESSING and care.dressing_type is not None:
            label += ", " + worded(care.dressing_type)
        yield Mark(
            care.line_id,
            care.task,
            "flushed" if care.task == DAILY else kind,
            care.start_on,
            label,
            care.table,
            care.row,
            received.get(care.row) if care.table == "home_log" else None,
        )


def _logged(entries: pd.DataFrame, codes: Codes, *, sees_notes: bool) -> Iterator[Mark]:
    """What the entries of the log say, each in one mark or several."""
    for row, line, on, received, kind, condition, reason, findings, note in cells(entries, *ENTRY):
        for track, name, label in _noted(kind, condition, reason, findings, codes):
            yield Mark(line, track, name, on, label, "home_log", row, received)
        if sees_notes and note is not None and note.strip():
            yield Mark(FAMILY, "notes", "note", on, f"note: {note}", "home_log", row, received)
        label = f"entry: {worded(kind)}"
        yield Mark(FAMILY, "log", "entry", on, label, "home_log", row, received)
        if (received - on).days > LATE_DAYS:
            label = f"reported late: {worded(kind)}"
            yield Mark(line, "late", "late", on, label, "home_log", row, received)


def _noted(
    kind: str, condition: str | None, reason: str | None, findings: str | None, codes: Codes
) -> Iterator[tuple[str, str, str]]:
    """What an entry shows of its line: row of the figure, kind of mark, label."""
    if kind in ("port_accessed", "port_deaccessed"):
        yield DRESSING, kind, worded(kind)
    noted = condition if condition in codes.compromised else reason
    if noted in codes.compromised:
        yield "found", "found", f"dressing found {noted}"
    if findings is not None:
        yield from _found(frozenset(findings.split(";")), codes)


def _found(noted: frozenset[str], codes: Codes) -> Iterator[tuple[str, str, str]]:
    """Skin finding or watched findings, a clear look, red flags: as `_noted`."""
    looked = frozenset({codes.nothing_seen})
    skin, red, watched = noted & codes.skin, noted & codes.red, noted - codes.red - looked

    def listed(found: frozenset[str]) -> str:
        return ", ".join(codes.labels.get(c, c.replace("_", " ")) for c in sorted(found))

    if skin:
        yield "skin", "finding", f"skin finding: {listed(skin)}"
    elif watched:
        yield "skin", "watched", f"watched: {listed(watched)}"
    if noted == looked:
        yield "skin", "clear", "looked, nothing seen"
    if red:
        yield "red_flag", "red_flag", f"red flag: {listed(red)}"


def _calls(calls: pd.DataFrame) -> Iterator[Mark]:
    for row, on, by, outcome in cells(calls, "row", "called_on", "called_by", "outcome"):
        is_reached = outcome == "reached"
        label = f"call, {'reached' if is_reached else 'no answer'} (by {by})"
        kind = "reached" if is_reached else "not_reached"
        yield Mark(FAMILY, "calls", kind, on, label, "calls", row)


def _signed(sign_offs: pd.DataFrame, now: pd.Timestamp) -> Iterator[Mark]:
    names = ("row", "signed_on", "kind", "skill", "outcome", "caregiver_id")
    for row, on, kind, skill, outcome, caregiver in cells(sign_offs, *names):
        if on <= now:
            again = kind == "refresher"
            about = f"{worded(skill)}, {worded(outcome)} ({caregiver})"
            label = f"{'refresher' if again else 'sign-off'}: {about}"
            name = "refresher" if again else "sign_off"
            yield Mark(FAMILY, "training", name, on, label, "sign_offs", row)


def _harm(outcomes: pd.DataFrame, now: pd.Timestamp) -> Iterator[Mark]:
    for row, line, on, outcome in cells(outcomes, "row", "line_id", "onset_on", "outcome"):
        if on <= now:
            yield Mark(line, "harm", "harm", on, worded(outcome), "outcomes", row)
