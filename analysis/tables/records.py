"""What does the store hand over: the newest version of every record as known at a time?

Each frame has the columns of its incoming entry and two more: `row`, the number of the
stored row (it leads to file, sheet and row), and `received_at`. In `home_log` the moment is
split into `done_on` (the date in the programme's zone) and `done_at` (UTC, blank when
only a date was written down), and `line_id` and `family_id` are both filled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import pandas as pd

from analysis.tables.columns import Column, Frame, Kind
from analysis.tables.incoming import INCOMING, NOT_RECORDED
from analysis.vocabulary import Arrangement

PROVENANCE = (
    Column("row", Kind.COUNT, "number of the stored row; leads to its file, sheet and row"),
    Column("received_at", Kind.INSTANT, "when the clinic got the row", "UTC"),
)


def _known(entry: Frame) -> Frame:
    columns: list[Column] = []
    for column in entry.columns:
        if entry.name == "home_log" and column.name in {"line_id", "family_id"}:
            columns.append(Column(column.name, column.kind, column.meaning))
        elif column.name == "done_at":
            columns += [
                Column("done_on", Kind.DATE, "day it was done, in the programme's zone"),
                Column(
                    "done_at",
                    Kind.INSTANT,
                    "moment it was done",
                    "UTC",
                    blank="only a date was written down",
                ),
            ]
        else:
            columns.append(column)
    return Frame(entry.name, entry.grain, (*PROVENANCE, *columns), key=("row",))


KNOWN: Mapping[str, Frame] = {
    **{name: _known(entry) for name, entry in INCOMING.items()},
    "calls": Frame(
        "calls",
        "one row a recorded call to a family (calls taken back are left out)",
        (
            Column("row", Kind.COUNT, "number of the recorded call"),
            Column("made_at", Kind.INSTANT, "when it was recorded", "UTC"),
            Column("made_on", Kind.DATE, "its day in the programme's zone"),
            Column("family_id", Kind.TEXT, "code of the family"),
            Column("made_by", Kind.TEXT, "staff code of who called"),
            Column("reached", Kind.FLAG, "whether somebody was spoken to"),
            Column("agreed", Kind.TEXT, "what was agreed", blank=NOT_RECORDED),
            Column("recheck_on", Kind.DATE, "day from which the family is listed again"),
        ),
        key=("row",),
    ),
    "arrangements": Frame(
        "arrangements",
        "one row what somebody arranged about a family (what was taken back is left out)",
        (
            Column("row", Kind.COUNT, "number of the arrangement"),
            Column("made_at", Kind.INSTANT, "when it was made", "UTC"),
            Column("made_on", Kind.DATE, "its day in the programme's zone"),
            Column("family_id", Kind.TEXT, "code of the family"),
            Column("made_by", Kind.TEXT, "staff code of who arranged it"),
            Column("kind", Kind.TEXT, "what was arranged", allowed=tuple(Arrangement)),
            Column("assigned_to", Kind.TEXT, "who makes the next call", blank="not assigned"),
            Column(
                "until_on",
                Kind.DATE,
                "day from which the family is listed again",
                blank="not set aside",
            ),
            Column("why", Kind.TEXT, "why it is set aside", blank="not set aside"),
        ),
        key=("row",),
    ),
}
"""Catalogue entry of each frame in `Records`."""


@dataclass(frozen=True)
class Records:
    """The newest version of every record, as known at one time; see `KNOWN` for columns."""

    lines: pd.DataFrame
    stays: pd.DataFrame
    caregivers: pd.DataFrame
    sign_offs: pd.DataFrame
    home_log: pd.DataFrame
    outcomes: pd.DataFrame
    calls: pd.DataFrame
    arrangements: pd.DataFrame

    @classmethod
    def of(cls, frames: Mapping[str, pd.DataFrame]) -> Records:
        """Check the frames at the door; a table left out is empty.

        Raises
        ------
        FrameError
            A frame is not what its catalogue entry says.
        """
        return cls(
            **{
                f.name: KNOWN[f.name].check(frames[f.name])
                if f.name in frames
                else KNOWN[f.name].empty()
                for f in fields(cls)
            }
        )
