"""What is known of one family's lines, their history and their people?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from analysis.policy import Edition
from analysis.snapshot import Snapshot
from analysis.vocabulary import COMPROMISED_WORDS, NOTHING_SEEN, FindingMark, Skill, Task
from dashboard.addresses.family import FamilyChoice
from dashboard.family import history
from dashboard.family.views import CaregiverView, LineView
from dashboard.figures import Mark, Span
from dashboard.session.frames import cells_of, places_of_lines, plain_cells_at
from dashboard.session.loaded import LoadedSnapshot

DAYS_SHOWN = {"weeks": 56, "months": 183}
"""Days shown of each choice of time; all of them otherwise."""
LEAST_DAYS = 7
ROWS_A_PAGE = 25
"""Rows on a page of the table."""
IN_ORDER = ("end_on", "child_id", "placed_on", "line_id")
"""Columns that lines are sorted by, those in use first."""
OF_LINE = (
    *("line_id", "child_id", "line_type", "therapy", "site", "nurse"),
    *("placed_on", "home_from", "end_on"),
)
OF_CARE = ("state", "last_change_on", "allowed_until", "days_overdue")
"""What a `LineView` holds, in its order."""


def line_views(loaded: LoadedSnapshot, family_id: str) -> tuple[LineView, ...]:
    """The family's lines, those in use first, then by child and day of placement."""
    care, lines = loaded.snapshot.timeline.care, _lines(loaded, family_id, "line", *OF_LINE)
    places = places_of_lines(care, [line for line, *_ in lines])
    states = {
        line: state
        for line, task, *state in plain_cells_at(care, places, "line", "task", *OF_CARE)
        if task == Task.DRESSING
    }
    return tuple(LineView(*known, *states[line]) for line, *known in lines)


def _lines(loaded: LoadedSnapshot, family_id: str, *names: str) -> list[tuple[Any, ...]]:
    """Columns of the family's lines as plain values, in the order in which they are shown."""
    places = loaded.lines_by_family.places(family_id)
    lines = plain_cells_at(loaded.snapshot.timeline.lines, places, *IN_ORDER, *names)
    lines.sort(key=lambda line: (line[0] is not None, *line[1 : len(IN_ORDER)]))
    return [line[len(IN_ORDER) :] for line in lines]


def history_of(
    loaded: LoadedSnapshot, family_id: str, since: date, *, sees_notes: bool
) -> tuple[list[Span], list[Mark]]:
    """Spans and marks of the family's history from a day on."""
    found, timeline = loaded.snapshot, loaded.snapshot.timeline
    lines = _lines(loaded, family_id, *history.OF_LINES)
    numbers = [line for line, *_ in lines]
    codes, children = ({line[at] for line in lines} for at in (1, 2))
    people = {code for (code,) in loaded.rows_of("caregivers", [family_id], "caregiver_id")}

    def of_lines(spans: pd.DataFrame, names: Sequence[str]) -> history.Rows:
        return plain_cells_at(spans, places_of_lines(spans, numbers), *names)

    known = history.FamilyRecords(
        lines=lines,
        registry=loaded.rows_of("lines", [family_id], *history.OF_REGISTRY),
        home_periods=of_lines(timeline.home_periods, history.OF_PERIODS),
        accessed_periods=of_lines(timeline.accessed_periods, history.OF_PERIODS),
        intervals=of_lines(timeline.intervals, history.OF_INTERVALS),
        entries=loaded.entries_of(family_id, *history.OF_ENTRIES),
        stays=loaded.rows_of("stays", children, *history.OF_STAYS),
        outcomes=[
            outcome
            for outcome in loaded.rows_of("outcomes", children, *history.OF_OUTCOMES)
            if outcome[1] in codes
        ],
        calls=cells_of(found.records.calls, "family_id", family_id, *history.OF_CALLS),
        sign_offs=loaded.rows_of("sign_offs", people, *history.OF_SIGN_OFFS),
        silent_after_days=found.edition.settings.silent_after_days,
        zone=found.policy.zone,
        sees_notes=sees_notes,
    )
    days, words = (found.as_of, since), _codes_of(found.edition)
    return history.spans_of(known, *days), history.marks_of(known, words, *days)


def shown_days(lines: Sequence[LineView], as_of: date, choice: FamilyChoice) -> tuple[date, date]:
    """First and last day shown: the last weeks or months of its lines, or all of them."""
    ends = [as_of if line.end_on is None else min(line.end_on, as_of) for line in lines]
    last = max(ends)
    days = DAYS_SHOWN.get(choice.time)
    first = min(line.home_from for line in lines)
    if days is not None:
        first = max(last - timedelta(days=days), min(line.placed_on for line in lines))
    return min(first, last - timedelta(days=LEAST_DAYS)), last


def page_of_table(
    spans: Sequence[Span], marks: Sequence[Mark], first: date, page: int
) -> tuple[tuple[history.Row, ...], int, int, int]:
    """One page of the table from a day on: its rows, all rows, the page, and pages."""
    all_rows = history.table_of(spans, [mark for mark in marks if mark.on >= first])
    pages = max(1, -(-len(all_rows) // ROWS_A_PAGE))
    shown = min(max(page, 1), pages)
    rows = all_rows[(shown - 1) * ROWS_A_PAGE : shown * ROWS_A_PAGE]
    return tuple(rows), len(all_rows), shown, pages


def _codes_of(edition: Edition) -> history.Codes:
    return history.Codes(
        labels={code: f.label for code, f in edition.findings.items()},
        skin=edition.codes_marked(FindingMark.SKIN_EVENT),
        red=edition.codes_marked(FindingMark.RED_FLAG),
        compromised=frozenset(str(w) for w in COMPROMISED_WORDS),
        nothing_seen=NOTHING_SEEN,
    )


def caregivers(loaded: LoadedSnapshot, family_id: str) -> tuple[CaregiverView, ...]:
    """The people who care for the family's lines, with the newest dressing-change sign-off."""
    people = loaded.rows_of("caregivers", [family_id], "caregiver_id", "relation")
    codes = {code for code, _ in people}
    names = ("signed_on", "row", "caregiver_id", "skill", "outcome")
    signed = loaded.rows_of("sign_offs", codes, *names)
    newest: dict[str, tuple[date, str | None]] = {}
    for on, _, code, skill, outcome in sorted(signed, key=lambda one: one[:2]):
        if skill == Skill.DRESSING_CHANGE and on <= loaded.snapshot.as_of:
            newest[code] = (on, outcome)
    return tuple(
        CaregiverView(code, relation, *newest.get(code, (None, None)))
        for code, relation in sorted(people, key=lambda one: one[0])
    )


def rows_of_family(alone: Snapshot) -> dict[str, frozenset[int]]:
    """Numbers of the stored rows that speak of the family, by table; `alone` holds no other."""
    return {
        name: frozenset(int(r) for r in frame["row"])
        for name, frame in alone.records.frames.items()
    }
