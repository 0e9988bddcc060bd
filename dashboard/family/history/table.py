"""How is a family's history read as a table, one stored row a row, newest first?"""

from __future__ import annotations

import pandas as pd

from dashboard.family.history.records import (
    MARKS,
    NO_ROW,
    SPANS,
    SPANS_LISTED,
    Mark,
    Row,
    Span,
    frame_of,
)
from dashboard.session.frames import cells

WEIGHT = ("red_flag", "harm", "found", "skin", "dressing", "connector", "needle", "flush")
"""Which of several findings of a stored row comes first."""


def table_of(spans: pd.DataFrame, marks: pd.DataFrame) -> pd.DataFrame:
    """One row a mark or a span before; after, one a stored row, newest first.

    Parameters
    ----------
    spans, marks : DataFrame
        As `spans_of` and `marks_of` give them.

    Returns
    -------
    DataFrame
        Columns as in `TABLE`. Findings of one stored row are joined by semicolons.
    """
    weight = {track: at for at, track in enumerate(WEIGHT)}
    every = [Mark(*mark) for mark in cells(marks, *MARKS)]
    every = [mark for mark in every if mark.track != "late"]
    every.sort(key=lambda mark: weight.get(mark.track, len(WEIGHT)))
    says_more = {(mark.table, mark.row) for mark in every if mark.kind != "entry"}
    of_row: dict[object, list[Mark]] = {}
    for at, mark in enumerate(every):
        stored = (mark.table, mark.row)
        if mark.kind != "entry" or stored not in says_more:
            of_row.setdefault(stored if mark.row != NO_ROW else at, []).append(mark)
    rows = [_joined(found) for found in of_row.values()]
    for span in (Span(*span) for span in cells(spans, *SPANS)):
        if span.kind in SPANS_LISTED:
            of = (span.group, span.label, span.table, span.row)
            rows.append(Row(span.start_on, span.end_on, *of, None))
    rows.sort(key=lambda row: row.label)
    rows.sort(key=lambda row: row.on, reverse=True)
    return frame_of(Row, rows)


def _joined(marks: list[Mark]) -> Row:
    """What one stored row holds."""
    first = marks[0]
    group = max(mark.group for mark in marks)
    received = next((mark.received_on for mark in marks if mark.received_on is not None), None)
    label = "; ".join(mark.label for mark in marks)
    return Row(first.on, None, group, label, first.table, first.row, received)
