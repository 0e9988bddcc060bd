"""What does the registry know of the lines, children, families and caregivers that rows name?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.moments import NONE
from analysis.store import Registry

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

FAR = 1 << 40
"""A day later than all: the end of what has not ended."""

_CHILD = 1 << 21
"""Factor that puts the days of different children on one axis (days stay far below it)."""


def positions(values: pa.Array, among: pa.Array) -> Ints:
    """Position of each text in an array of distinct texts; -1: not there, or blank."""
    distinct = values.dictionary_encode()
    places = pc.index_in(distinct.dictionary, value_set=among).fill_null(-1)
    table = np.append(np.asarray(places).astype(np.int64), -1)
    indices = distinct.indices.fill_null(len(distinct.dictionary))
    return table[np.asarray(indices)]


@dataclass(frozen=True)
class KnownLines:
    """The registry as arrays; lines by position, children and families by number.

    `end` is the day a line was removed or left (`FAR`: in place).
    """

    line_ids: pa.Array
    child_ids: pa.Array
    family_ids: pa.Array
    caregiver_ids: pa.Array
    child: Ints
    family: Ints
    placed: Ints
    end: Ints
    caregiver_family: Ints
    by_family: Ints
    first_of_family: Ints
    stay_start: Ints
    stay_end: Ints

    @classmethod
    def of(cls, registry: Registry) -> KnownLines:
        """Lay out the registry for look-ups."""
        lines = registry.lines.combine_chunks()
        children, families = _column(lines, "child_id"), _column(lines, "family_id")
        child_ids, family_ids = pc.unique(children), pc.unique(families)
        family = positions(families, family_ids)
        by_family = np.argsort(family, kind="stable")
        first = np.searchsorted(family[by_family], np.arange(len(family_ids) + 1))
        ends = [_days(lines, name, FAR) for name in ("removed_on", "left_on")]
        start, end = _stays(registry.stays.combine_chunks(), child_ids)
        caregivers = registry.caregivers.combine_chunks()
        return cls(
            line_ids=_column(lines, "line_id"),
            child_ids=child_ids,
            family_ids=family_ids,
            caregiver_ids=_column(caregivers, "caregiver_id"),
            child=positions(children, child_ids),
            family=family,
            placed=_days(lines, "placed_on", NONE),
            end=np.minimum(*ends),
            caregiver_family=positions(_column(caregivers, "family_id"), family_ids),
            by_family=by_family,
            first_of_family=first,
            stay_start=start,
            stay_end=end,
        )

    def only_line(self, family: Ints, day: Ints) -> tuple[Ints, Ints]:
        """Line of each family that is in place on a day, and how many there are.

        Parameters
        ----------
        family : int64 array, shape (n,)
            Numbers of families, none negative.
        day : int64 array, shape (n,)
            Days since 1970-01-01.

        Returns
        -------
        line, count : int64 arrays, shape (n,)
            `line` is the first that is in place, -1 where `count` is 0.
        """
        first, last = self.first_of_family[family], self.first_of_family[family + 1]
        # One entry a row and line of its family, in order of rows.
        row = np.repeat(np.arange(len(family)), last - first)
        step = np.arange(len(row)) - np.repeat(
            np.cumsum(last - first) - (last - first), last - first
        )
        line = self.by_family[first[row] + step]
        in_place = (self.placed[line] <= day[row]) & (day[row] < self.end[line])
        row, line = row[in_place], line[in_place]
        found = np.full(len(family), -1, np.int64)
        found[row[::-1]] = line[::-1]
        return found, np.bincount(row, minlength=len(family)).astype(np.int64)

    def away(self, child: Ints, day: Ints) -> Mask:
        """Whether each child was in a stay, ``from_on <= day < to_on``."""
        if not len(self.stay_start):
            return np.zeros(len(child), np.bool_)
        at = np.searchsorted(self.stay_start, child * _CHILD + day, side="right") - 1
        return (at >= 0) & (child * _CHILD + day < self.stay_end[np.maximum(at, 0)])


def _stays(stays: pa.Table, child_ids: pa.Array) -> tuple[Ints, Ints]:
    """Starts of stays on the axis of all children, and the farthest end up to each."""
    child = positions(_column(stays, "child_id"), child_ids)
    start = child * _CHILD + _days(stays, "from_on", 0)
    end = child * _CHILD + np.minimum(_days(stays, "to_on", _CHILD - 1), _CHILD - 1)
    known = child >= 0
    order = np.argsort(start[known], kind="stable")
    return start[known][order], np.maximum.accumulate(end[known][order])


def _column(table: pa.Table, name: str) -> pa.Array:
    chunks = table[name]
    return pa.concat_arrays(chunks.chunks) if chunks.num_chunks else pa.array([], pa.string())


def _days(table: pa.Table, name: str, blank: int) -> Ints:
    return np.asarray(table[name].cast(pa.int64()).fill_null(blank).to_numpy())


def _empty(**kinds: pa.DataType) -> pa.Table:
    return pa.table({name: pa.array([], kind) for name, kind in kinds.items()})


_ID, _DAY = pa.string(), pa.int32()

NOTHING_REGISTERED = Registry(
    lines=_empty(
        line_id=_ID,
        child_id=_ID,
        family_id=_ID,
        placed_on=_DAY,
        home_from=_DAY,
        removed_on=_DAY,
        left_on=_DAY,
    ),
    stays=_empty(child_id=_ID, from_on=_DAY, to_on=_DAY),
    caregivers=_empty(caregiver_id=_ID, family_id=_ID),
)
"""A registry without a line, for the checks of the registry itself."""
