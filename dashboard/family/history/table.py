"""How is a family's history read as a table, one stored row a row, newest first?"""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.family.history.records import NO_ROW, SPANS_LISTED, Row
from dashboard.figures import Mark, Span

WEIGHT = ("red_flag", "harm", "found", "skin", "dressing", "connector", "needle", "flush")
"""Which of several findings of a stored row comes first."""


def table_of(spans: Sequence[Span], marks: Sequence[Mark]) -> list[Row]:
    """One row a mark or a span before; after, one a stored row, newest first.

    Parameters
    ----------
    spans, marks : sequence
        As `spans_of` and `marks_of` give them.

    Returns
    -------
    list of Row
        Findings of one stored row are joined by semicolons.
    """
    weight = {track: at for at, track in enumerate(WEIGHT)}
    every = [mark for mark in marks if mark.track != "late"]
    every.sort(key=lambda mark: weight.get(mark.track, len(WEIGHT)))
    says_more = {(mark.table, mark.row) for mark in every if mark.kind != "entry"}
    of_row: dict[object, list[Mark]] = {}
    for at, mark in enumerate(every):
        stored = (mark.table, mark.row)
        if mark.kind != "entry" or stored not in says_more:
            of_row.setdefault(stored if mark.row != NO_ROW else at, []).append(mark)
    rows = [_joined(found) for found in of_row.values()]
    for span in spans:
        if span.kind in SPANS_LISTED:
            of = (span.group, span.label, span.table, span.row)
            rows.append(Row(span.start_on, span.end_on, *of, None))
    rows.sort(key=lambda row: row.label)
    rows.sort(key=lambda row: row.on, reverse=True)
    return rows


def _joined(marks: list[Mark]) -> Row:
    """What one stored row holds."""
    first = marks[0]
    group = max(mark.group for mark in marks)
    received = next((mark.received_on for mark in marks if mark.received_on is not None), None)
    label = "; ".join(mark.label for mark in marks)
    return Row(first.on, None, group, label, first.table, first.row, received)
