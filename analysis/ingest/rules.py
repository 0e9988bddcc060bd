"""Which rows contradict themselves or the registry, and which are only odd?

One function a table. It is handed the values of a batch and marks faults and doubts.
*Source of all rules:* the formats page and definitions §2-§5 unless a comment names another.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.faulty import Doubts, Faults
from analysis.ingest.known_lines import KnownLines, positions
from analysis.ingest.moments import NONE
from analysis.ingest.reasons import Doubt, Refusal
from analysis.vocabulary import EntryKind

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Values = dict[str, "pa.Array | Ints"]

CHANGES = (EntryKind.DRESSING_CHANGE, EntryKind.CONNECTOR_CHANGE, EntryKind.NEEDLE_CHANGE)
"""Entries that speak of a change done at home."""


@dataclass(frozen=True)
class Batch:
    """Values of a batch by column (text as Arrow arrays, days as int64) and what was found.

    The rules of the home log fill in `line_id` and `family_id` where one follows from the other.
    """

    values: Values
    void: Mask
    faults: Faults
    doubts: Doubts

    def text(self, column: str) -> pa.Array:
        """A column of text, null where blank."""
        cells = self.values[column]
        assert not isinstance(cells, np.ndarray)
        return cells

    def days(self, column: str) -> Ints:
        """A column of days, `NONE` where blank."""
        cells = self.values[column]
        assert isinstance(cells, np.ndarray)
        return cells


def _after(first: Ints, second: Ints) -> Mask:
    """Where both days are known and the first is later."""
    return (first != NONE) & (second != NONE) & (first > second)


def _is_blank(cells: pa.Array) -> Mask:
    return np.asarray(cells.is_null())


def check_lines(batch: Batch, _known: KnownLines) -> None:
    """Check the clinic's registry of lines."""
    faults, doubts = batch.faults, batch.doubts
    placed, home = batch.days("placed_on"), batch.days("home_from")
    removed, left = batch.days("removed_on"), batch.days("left_on")
    no_reason = _is_blank(batch.text("removal_reason"))
    faults.mark(_after(placed, home), "home_from", Refusal.HOME_BEFORE_PLACED)
    faults.mark((removed != NONE) & no_reason, "removal_reason", Refusal.REMOVAL_INCOMPLETE)
    faults.mark((removed == NONE) & ~no_reason, "removed_on", Refusal.REMOVAL_INCOMPLETE)
    faults.mark(_after(placed, removed), "removed_on", Refusal.ENDED_BEFORE_PLACED)
    faults.mark(_after(placed, left), "left_on", Refusal.ENDED_BEFORE_PLACED)
    faults.mark(_after(batch.days("born"), placed), "born", Refusal.BORN_AFTER_PLACED)
    dressing = batch.days("dressing_on")
    outside = _after(placed, dressing) | _after(dressing, home)
    doubts.mark(outside, Doubt.DRESSING_ON_OUTSIDE)


def check_stays(batch: Batch, known: KnownLines) -> None:
    """Check nights away from home."""
    faults = batch.faults
    start, end = batch.days("from_on"), batch.days("to_on")
    faults.mark(_after(start, end), "to_on", Refusal.STAY_ENDS_BEFORE_START)
    faults.mark((start == end) & (end != NONE), "to_on", Refusal.STAY_OF_NO_NIGHT)
    child = positions(batch.text("child_id"), known.child_ids)
    faults.mark((child < 0) & ~batch.void, "child_id", Refusal.UNKNOWN_CHILD)
    dressing = batch.days("dressing_on")
    outside = _after(start, dressing) | _after(dressing, end)
    batch.doubts.mark(outside, Doubt.DRESSING_ON_OUTSIDE)


def check_caregivers(batch: Batch, known: KnownLines) -> None:
    """Check people who care for a line at home."""
    families = batch.text("family_id")
    family = positions(families, known.family_ids)
    batch.doubts.mark((family < 0) & ~_is_blank(families), Doubt.UNKNOWN_FAMILY)


def check_sign_offs(batch: Batch, known: KnownLines) -> None:
    """Check return demonstrations."""
    caregiver = positions(batch.text("caregiver_id"), known.caregiver_ids)
    batch.doubts.mark(caregiver < 0, Doubt.UNKNOWN_CAREGIVER)


def check_outcomes(batch: Batch, known: KnownLines) -> None:
    """Check confirmed harm."""
    faults, doubts = batch.faults, batch.doubts
    onset, confirmed = batch.days("onset_on"), batch.days("confirmed_on")
    line = positions(batch.text("line_id"), known.line_ids)
    faults.mark((line < 0) & ~batch.void, "line_id", Refusal.UNKNOWN_LINE)
    if len(known.placed):
        there = line >= 0
        child = positions(batch.text("child_id"), known.child_ids)
        other = there & (known.child[line] != child)
        faults.mark(other & ~batch.void, "child_id", Refusal.LINE_OF_OTHER_CHILD)
        early = there & _after(known.placed[line], onset)
        faults.mark(early & ~batch.void, "onset_on", Refusal.BEFORE_PLACED)
        # Harm found on the day of removal is often why the line was removed: no doubt.
        doubts.mark(there & _after(onset, known.end[line]), Doubt.AFTER_END)
    doubts.mark(_after(onset, confirmed), Doubt.CONFIRMED_BEFORE_ONSET)


def check_home_log(batch: Batch, known: KnownLines) -> None:
    """Check the families' entries, and fill in the line or the family that was left out."""
    line = _lines_of_entries(batch, known)
    day = batch.days("done_on")
    faults, doubts = batch.faults, batch.doubts
    caregivers = batch.text("caregiver_id")
    if not len(known.placed):
        return
    there = line >= 0
    faults.mark(there & _after(known.placed[line], day), "done_at", Refusal.BEFORE_PLACED)
    dated = there & (day != NONE)
    doubts.mark(dated & (day >= known.end[line]), Doubt.AFTER_END)
    change = np.asarray(
        pc.is_in(batch.text("kind"), value_set=pa.array([str(kind) for kind in CHANGES]))
    )
    away = dated & change
    away[away] = known.away(known.child[line[away]], day[away])
    doubts.mark(away, Doubt.CHANGE_DURING_STAY)
    if len(known.caregiver_ids):
        caregiver = positions(caregivers, known.caregiver_ids)
        named = there & ~_is_blank(caregivers)
        doubts.mark(named & (caregiver < 0), Doubt.UNKNOWN_CAREGIVER)
        other = known.caregiver_family[caregiver] != known.family[line]
        other &= named & (caregiver >= 0)
        doubts.mark(other, Doubt.CAREGIVER_OF_OTHER_FAMILY)


def check_calls(batch: Batch, known: KnownLines) -> None:
    """Check calls to families that were recorded elsewhere."""
    called, again = batch.days("called_on"), batch.days("recheck_on")
    no_time = (called != NONE) & (batch.days("called_at") == NONE)
    batch.faults.mark(no_time, "called_at", Refusal.NO_TIME)
    family = positions(batch.text("family_id"), known.family_ids)
    batch.faults.mark((family < 0) & ~batch.void, "family_id", Refusal.UNKNOWN_FAMILY)
    batch.doubts.mark(_after(called, again), Doubt.CALL_AGAIN_BEFORE_CALL)


def _lines_of_entries(batch: Batch, known: KnownLines) -> Ints:
    """Position of each entry's line, -1 where it is not known; fills in both codes."""
    faults = batch.faults
    lines, families = batch.text("line_id"), batch.text("family_id")
    no_line, no_family = _is_blank(lines), _is_blank(families)
    line = positions(lines, known.line_ids)
    faults.mark(~no_line & (line < 0), "line_id", Refusal.UNKNOWN_LINE)
    faults.mark(no_line & no_family, "line_id", Refusal.MISSING_VALUE)
    if not no_family.all():
        family = positions(families, known.family_ids)
        by_family = no_line & ~no_family
        faults.mark(by_family & (family < 0), "family_id", Refusal.UNKNOWN_FAMILY)
        day = batch.days("done_on")
        asked = np.flatnonzero(by_family & (family >= 0) & (day != NONE))
        found, count = known.only_line(family[asked], day[asked])
        for wrong, reason in (
            (count == 0, Refusal.NO_LINE_THAT_DAY),
            (count > 1, Refusal.SEVERAL_LINES_THAT_DAY),
        ):
            marked = np.zeros(len(line), np.bool_)
            marked[asked[wrong]] = True
            faults.mark(marked, "family_id", reason)
        line[asked] = np.where(count == 1, found, -1)
        if len(known.placed):
            other = ~no_line & (line >= 0) & ~no_family & (known.family[line] != family)
            faults.mark(other, "family_id", Refusal.LINE_OF_OTHER_FAMILY)
    taken = pa.array(line, mask=line < 0)
    batch.values["line_id"] = known.line_ids.take(taken)
    batch.values["family_id"] = known.family_ids.take(
        pa.array(known.family[line], mask=line < 0) if len(known.family) else taken
    )
    return line


CHECKS: Mapping[str, Callable[[Batch, KnownLines], None]] = {
    "lines": check_lines,
    "stays": check_stays,
    "caregivers": check_caregivers,
    "sign_offs": check_sign_offs,
    "home_log": check_home_log,
    "outcomes": check_outcomes,
    "calls": check_calls,
}
"""The check of each incoming table."""
