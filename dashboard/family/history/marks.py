"""What was done, found, noted, called about, trained and confirmed, and on which day?

A family has some hundred entries: plain rows are made far quicker than many small frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from dashboard.family.history.records import (
    DAILY,
    DRESSING,
    FAMILY,
    LATE_DAYS,
    Codes,
    FamilyRecords,
    Rows,
    care_of,
    worded,
)
from dashboard.figures import Mark


class Entry(NamedTuple):
    """An entry of the log and the day on which the clinic got it."""

    row: int
    line_id: str
    done_on: date
    kind: str
    dressing_condition: str | None
    change_reason: str | None
    findings: str | None
    note: str | None
    received_on: date


def marks_of(
    records: FamilyRecords, codes: Codes, as_of: date, since: date = date.min
) -> list[Mark]:
    """What was done, found, noted, called about, trained and confirmed, in order of time.

    `since` is the first day shown: what came in since then is plotted at that day, too.
    """
    entries = [
        entry
        for entry in _entries(records)
        if entry.done_on <= as_of and max(entry.done_on, entry.received_on) >= since
    ]
    marks = [
        *_changes(records, {entry.row: entry.received_on for entry in entries}),
        *_logged(entries, codes, sees_notes=records.sees_notes),
        *_calls(records.calls),
        *_signed(records.sign_offs, as_of),
        *_harm(records.outcomes, as_of),
    ]
    marks = [mark for mark in marks if mark.last_on >= since]
    marks.sort(key=lambda mark: (mark.on, mark.group is None, mark.group, mark.track, mark.row))
    return marks


def _entries(records: FamilyRecords) -> Iterator[Entry]:
    for *of_entry, received_at in records.entries:
        yield Entry._make((*of_entry, day_in_zone(received_at, records.zone)))


def day_in_zone(moment: datetime, zone: ZoneInfo) -> date:
    """Day in the programme's zone of a moment in UTC.

    Examples
    --------
    >>> day_in_zone(datetime(2031, 3, 1, 23, 30), ZoneInfo("Asia/Tokyo"))
    datetime.date(2031, 3, 2)
    """
    return moment.replace(tzinfo=UTC).astimezone(zone).date()


def _changes(records: FamilyRecords, received: dict[int, date]) -> Iterator[Mark]:
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


def _logged(entries: list[Entry], codes: Codes, *, sees_notes: bool) -> Iterator[Mark]:
    """What the entries of the log say, each in one mark or several."""
    for row, line, on, kind, condition, reason, findings, note, received in entries:
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


def _calls(calls: Rows) -> Iterator[Mark]:
    for row, on, by, outcome in calls:
        is_reached = outcome == "reached"
        label = f"call, {'reached' if is_reached else 'no answer'} (by {by})"
        kind = "reached" if is_reached else "not_reached"
        yield Mark(FAMILY, "calls", kind, on, label, "calls", row)


def _signed(sign_offs: Rows, as_of: date) -> Iterator[Mark]:
    for row, on, kind, skill, outcome, caregiver in sign_offs:
        if on <= as_of:
            again = kind == "refresher"
            about = f"{worded(skill)}, {worded(outcome)} ({caregiver})"
            label = f"{'refresher' if again else 'sign-off'}: {about}"
            name = "refresher" if again else "sign_off"
            yield Mark(FAMILY, "training", name, on, label, "sign_offs", row)


def _harm(outcomes: Rows, as_of: date) -> Iterator[Mark]:
    for row, line, on, outcome in outcomes:
        if on <= as_of:
            yield Mark(line, "harm", "harm", on, worded(outcome), "outcomes", row)
