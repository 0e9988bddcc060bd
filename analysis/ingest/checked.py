"""How is a checked batch stored: its usable rows, and its refused rows whole?"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
import orjson
import pyarrow as pa
import pyarrow.compute as pc

from analysis.ingest.cells import Reading, Timed
from analysis.ingest.faulty import REASONS, Doubts, Faults
from analysis.ingest.heads import REFUSED_ROW, Heads
from analysis.ingest.identity import digests, hash_array
from analysis.ingest.moments import ISO_STYLE, NONE
from analysis.ingest.profile import Profile
from analysis.ingest.raw import Part, Raw
from analysis.ingest.translate import CONTROL, Rows
from analysis.policy import Policy
from analysis.tables.incoming import INCOMING
from analysis.tables.kinds import Kind

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Source:
    """What all batches of a part share."""

    part: Part
    profile: Profile
    policy: Policy
    received_at: int
    """Microseconds UTC; for rows that do not name their own."""
    ingested_at: int
    """Microseconds UTC; no row may be received later, but for a small difference of clocks."""
    history: bool = False
    """Rows without a receipt of their own count as received on the day they were done."""
    zone_is_set: bool = True
    """Whether the programme's time zone was set, and is not merely the shipped one."""

    def with_heads(self, heads: Heads) -> Source:
        """The same source with other columns known."""
        return replace(self, part=replace(self.part, heads=heads))

    @cached_property
    def reading(self) -> Reading:
        """How cells are read."""
        editions = self.policy.editions
        looks = self.profile.table(self.part.table)
        return Reading(
            style=self.profile.dates,
            zone=self.profile.time_zone or self.policy.time_zone,
            programme_zone=self.policy.time_zone,
            lists={
                "findings": frozenset(code for e in editions for code in e.findings),
                "steps_missed": frozenset(code for e in editions for code in e.steps),
            },
            words=looks.values,
            separators=looks.list_separators,
            decimal_mark=self.profile.decimal_mark,
        )


@dataclass(frozen=True)
class Checked:
    """A batch after the checks; all arrays have one entry a row of the batch.

    `accepted` holds every row in the form in which it is stored, faulty ones included;
    `faults.usable` marks those that can be stored. `withdrawals` are rows that only remove a
    refused row from the list.
    """

    source: Source
    raw: Raw
    rows: Rows
    accepted: pa.Table
    faults: Faults
    doubts: Doubts
    withdrawals: Mask
    timed: Timed | None
    n_old: int
    """Rows that were received long after they were done; 0 for history."""

    def __len__(self) -> int:
        return len(self.rows)

    def stored_form(self, doubts: pa.Array) -> pa.Table:
        """The usable rows; those that only remove a refused row have no key."""
        table = self.accepted
        if self.withdrawals.any():
            key = pc.if_else(
                pa.array(self.withdrawals), pa.scalar(None, table["key"].type), table["key"]
            )
            table = table.set_column(table.column_names.index("key"), "key", key)
        table = table.append_column("doubts", doubts)
        usable = self.faults.usable
        return table if usable.all() else table.filter(pa.array(usable))

    def refused_form(self) -> pa.Table:
        """The refused rows, each whole."""
        at = np.flatnonzero(~self.faults.usable)
        wholes = self._wholes(at)
        table = self.source.part.table
        own = ["sheet", "row_number", "received_at", "key", "mends"]
        taken = self.accepted.select(own).take(pa.array(at))
        hashes = digests(f"{table}\x1f{whole}".encode() for whole in wholes)
        names = pa.array([*self.faults.columns, None], pa.string())
        reasons = pa.array([str(reason) for reason in REASONS], pa.string())
        return pa.table(
            {
                "table": pa.array([table] * len(at), pa.string()),
                "sheet": taken["sheet"],
                "row_number": taken["row_number"],
                "received_at": taken["received_at"],
                "column": names.take(pa.array(self.faults.column[at] % len(names))),  # -1: the last
                "value": pa.array(self.values_at_fault(at), pa.string()),
                "reason": reasons.take(pa.array(self.faults.reason[at])),
                "key": taken["key"],
                "mends": taken["mends"],
                "row": pa.array(wholes, pa.string()),
                "raw_hash": hash_array(hashes),
                "further": pa.array(self.further(at), pa.string()),
            }
        )

    def values_at_fault(self, at: Ints) -> list[str | None]:
        """The value of the first cell at fault of some rows, given in order of the batch."""
        values: list[str | None] = [None] * len(at)
        numbered = self.faults.column[at]
        for number, column in enumerate(self.faults.columns):
            places = np.flatnonzero(numbered == number)
            shown = self.cells_of(column, at[places])
            for place, value in zip(places.tolist(), shown, strict=True):
                values[place] = value
        for row, shown_value in self.faults.shown.items():
            place = int(np.searchsorted(at, row))
            if self.faults.reason[row] >= 0 and place < len(at) and at[place] == row:
                values[place] = shown_value
        return values

    def further(self, at: Ints) -> list[str | None]:
        """What else is wrong with some rows, as JSON; None: nothing."""
        found: dict[int, list[list[str | None]]] = {}
        for column, reason, rows in self.faults.further:
            places = np.flatnonzero(rows[at])
            values = self.cells_of(column, at[places])
            for place, value in zip(places.tolist(), values, strict=True):
                found.setdefault(place, []).append([column, value, str(reason)])
        return [
            orjson.dumps(found[place]).decode() if place in found else None
            for place in range(len(at))
        ]

    def cells_of(self, column: str, rows: Ints) -> list[str | None]:
        """Cells of a column in some rows, as they may be shown."""
        cells = self.rows.cells.get(column, self.rows.extra.get(column))
        if cells is None or not len(rows):
            return [None] * len(rows)
        return [v and CONTROL.sub("\ufffd", v) for v in cells.take(pa.array(rows)).to_pylist()]

    def _wholes(self, at: Ints) -> list[str]:
        """Each row as a JSON object of its cells under our heads.

        Words and dates that the source profile explains are written as they were understood, so
        that a corrected file needs no profile; everything else is as it was written.
        """
        taken = pa.array(at)
        columns = {
            name: self._plain(name, at) for name in self.rows.cells if name != REFUSED_ROW
        } | {head: cells.take(taken) for head, cells in self.rows.extra.items()}
        names = list(columns)
        rows = zip(*(column.to_pylist() for column in columns.values()), strict=True)
        width = self.source.part.heads.width
        wholes = []
        for row, cells in zip(at.tolist(), rows, strict=True):
            whole = {n: c for n, c in zip(names, cells, strict=True) if c is not None}
            for step, cell in enumerate(self.rows.surplus.get(row, ())):
                whole[f"column {width + 1 + step}"] = cell
            wholes.append(orjson.dumps(whole).decode())
        return wholes

    def _plain(self, name: str, at: Ints) -> pa.Array:
        taken = pa.array(at)
        cells = self.rows.cells[name].take(taken)
        reading = self.source.reading
        kind = next(
            (c.kind for c in INCOMING[self.source.part.table].columns if c.name == name), None
        )
        if name in reading.words and kind is not Kind.TEXT:
            return pc.coalesce(_flat(self.accepted[name]).take(taken), cells)
        if kind in {Kind.DATE, Kind.MONTH} and reading.style != ISO_STYLE:
            days = _flat(self.accepted[name]).take(taken).cast(pa.date32())
            text = days.cast(pa.string())
            return pc.coalesce(
                pc.utf8_slice_codeunits(text, 0, 7) if kind is Kind.MONTH else text, cells
            )
        if kind is Kind.INSTANT and self.timed is not None:
            return self._plain_moment(at, cells)
        return cells

    def _plain_moment(self, at: Ints, cells: pa.Array) -> pa.Array:
        reading = self.source.reading
        if reading.style == ISO_STYLE and reading.zone == reading.programme_zone:
            return cells
        assert self.timed is not None
        day, utc = self.timed.day[at], self.timed.utc[at]
        days = pa.array(day.astype(np.int32), mask=(day == NONE) | (utc != NONE))
        moments = pa.array(utc, mask=utc == NONE).cast(pa.timestamp("us"))
        text = pc.binary_join_element_wise(
            pc.strftime(moments, "%Y-%m-%dT%H:%M:%S"), pa.scalar("Z"), ""
        )
        return pc.coalesce(text, days.cast(pa.date32()).cast(pa.string()), cells)


def day_of(moment: str) -> str:
    """Column in which the day of a column of moments is stored: ``done_on`` for ``done_at``."""
    return f"{moment.removesuffix('_at')}_on"


def _flat(column: pa.ChunkedArray) -> pa.Array:
    return column.combine_chunks() if column.num_chunks != 1 else column.chunk(0)
