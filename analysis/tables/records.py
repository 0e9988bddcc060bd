"""What does the store return: the newest version of every record as known at a time?

Each frame has the columns of its incoming entry and two more: `row`, the number of the
stored row (it leads to file, sheet and row), and `received_at`. In `home_log` the moment is
split into `done_on` (the date in the programme's zone) and `done_at` (UTC, blank when
only a date was written down), and `line_id` and `family_id` are both filled; in `calls` it is
split into `called_on` and `called_at`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.tables.columns import Column, Frame
from analysis.tables.fields import field_of
from analysis.tables.incoming import INCOMING

PROVENANCE = (Column.of(field_of("row")), Column.of(field_of("received_at")))
"""Columns that each stored row of a file has in front of its own."""

TIMES = {
    "done_at": (
        Column.of(field_of("done_on")),
        Column.of(field_of("done_at"), blank="only a date was written down"),
    ),
    "called_at": (Column.of(field_of("called_on")), Column.of(field_of("called_at"))),
}
"""A moment of a file as it is stored: its day in the programme's zone and, if given, its time."""


def _known(entry: Frame) -> Frame:
    columns: list[Column] = []
    for column in entry.columns:
        if entry.name == "home_log" and column.name in {"line_id", "family_id"}:
            columns.append(Column.of(field_of(column.name)))
        elif column.name in TIMES:
            columns += TIMES[column.name]
        else:
            columns.append(column)
    return Frame(entry.name, entry.grain, (*PROVENANCE, *columns), key=("row",))


KNOWN: Mapping[str, Frame] = {
    **{name: _known(entry) for name, entry in INCOMING.items()},
    "arrangements": Frame.of(
        "arrangements",
        "one row an arrangement about a family (undone ones are left out)",
        "row made_at made_on family_id made_by kind assigned_to until_on why",
        key="row",
        blank={"assigned_to": "not assigned", "until_on why": "not postponed"},
    ),
}
KNOWN = {
    **KNOWN,
    "earlier_lines": replace(
        KNOWN["lines"],
        name="earlier_lines",
        grain="one row an earlier version of a line's row, known at the time and since replaced",
    ),
}
"""Catalogue entry of each frame in `Records`."""


Link = tuple[int, int, bytes]
"""Number of a table's last link in the store, its last row, and its hash."""


@dataclass(frozen=True)
class Records:
    """The newest version of every record, as known at one time; see `KNOWN` for columns.

    `earlier_lines` holds the versions of lines' rows that `lines` replaced: what a line's order,
    dressing type, site, nurse and family were before (definitions §2).
    """

    lines: pd.DataFrame
    stays: pd.DataFrame
    caregivers: pd.DataFrame
    sign_offs: pd.DataFrame
    home_log: pd.DataFrame
    outcomes: pd.DataFrame
    calls: pd.DataFrame
    arrangements: pd.DataFrame
    earlier_lines: pd.DataFrame = field(default_factory=KNOWN["earlier_lines"].empty)
    not_yet_known: int = 0
    """Stored rows that were received later than the time at which these are known."""
    history: Mapping[str, tuple[tuple[int, int], ...]] = field(default_factory=dict)
    """Rows loaded as history by table: spans of row numbers, the first one not included."""
    links: Mapping[str, Link] = field(default_factory=dict)
    """Up to which row each stored table was read, and what shows whether a row of it has changed.

    Calls and arrangements are not in it: they are few and always read again."""

    @property
    def frames(self) -> dict[str, pd.DataFrame]:
        """The frames by their names in `KNOWN`."""
        return {name: getattr(self, name) for name in KNOWN}

    def is_assumed(self, table: str) -> npt.NDArray[np.bool_]:
        """Rows of a table whose receipt is assumed: shape (rows of its frame,).

        They count as received on the day they were done, so they reveal nothing about reporting
        delays.
        """
        row = getattr(self, table)["row"].to_numpy()
        found = np.zeros(len(row), np.bool_)
        for first, last in self.history.get(table, ()):
            found |= (row > first) & (row <= last)
        return found

    @classmethod
    def of(
        cls,
        frames: Mapping[str, pd.DataFrame],
        not_yet_known: int = 0,
        history: Mapping[str, tuple[tuple[int, int], ...]] | None = None,
        links: Mapping[str, Link] | None = None,
    ) -> Records:
        """Check the frames as they enter; a table left out is empty.

        Raises
        ------
        FrameError
            A frame is not what its catalogue entry requires.
        """
        return cls(
            **{
                name: entry.check(frames[name]) if name in frames else entry.empty()
                for name, entry in KNOWN.items()
            },
            not_yet_known=not_yet_known,
            history=history or {},
            links=links or {},
        )
