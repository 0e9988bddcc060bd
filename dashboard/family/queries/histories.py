"""What is known of one family's lines, their history and their people?"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import pandas as pd

from analysis.decisions.day import log_of
from analysis.policy import Edition
from analysis.snapshot import Snapshot
from analysis.vocabulary import COMPROMISED_WORDS, NOTHING_SEEN, FindingMark, Skill, Task
from dashboard.addresses.family import FamilyChoice
from dashboard.family import history
from dashboard.family.views import CaregiverView, LineView
from dashboard.session.frames import cells, day, of

DAYS_SHOWN = {"weeks": 56, "months": 183}
"""Days shown of each choice of time; all of them otherwise."""
LEAST_DAYS = 7
ROWS_A_PAGE = 25
"""Rows on a page of the table."""


def line_views(found: Snapshot, family_id: str) -> tuple[LineView, ...]:
    """The family's lines, those in use first, then by child and day of placement."""
    care = of(found.timeline.care, "task", str(Task.DRESSING))
    lines = _lines_in_order(found, family_id).merge(care, on="line")
    names = (
        *("line_id", "child_id", "line_type", "therapy", "site", "nurse", "placed_on"),
        *("home_from", "end_on", "state", "last_change_on", "allowed_until", "days_overdue"),
    )
    return tuple(
        LineView(
            line_id=known["line_id"],
            child_id=known["child_id"],
            line_type=str(known["line_type"]),
            therapy=known["therapy"],
            site=known["site"],
            nurse=known["nurse"],
            placed_on=known["placed_on"].date(),
            home_from=known["home_from"].date(),
            end_on=day(known["end_on"]),
            state=str(known["state"]),
            last_change_on=day(known["last_change_on"]),
            allowed_until=day(known["allowed_until"]),
            days_overdue=int(known["days_overdue"]),
        )
        for known in (dict(zip(names, cell, strict=True)) for cell in cells(lines, *names))
    )


def _lines_in_order(found: Snapshot, family_id: str) -> pd.DataFrame:
    lines = of(found.timeline.lines, "family_id", family_id)
    lines = lines.assign(ended=lines["end_on"].notna())
    order = ["ended", "child_id", "placed_on", "line_id"]
    return lines.sort_values(order, ignore_index=True).drop(columns="ended")


def history_of(
    found: Snapshot, family_id: str, *, sees_notes: bool
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Spans and marks of the family's history; `found` may hold the family alone."""
    records, timeline = found.records, found.timeline
    lines = _lines_in_order(found, family_id)
    people = of(records.caregivers, "family_id", family_id)
    of_child = records.stays["child_id"].isin(lines["child_id"]).to_numpy(dtype=bool)
    of_line = records.outcomes["line_id"].isin(lines["line_id"]).to_numpy(dtype=bool)
    signed = records.sign_offs["caregiver_id"].isin(people["caregiver_id"]).to_numpy(dtype=bool)
    known = history.FamilyRecords(
        lines=lines,
        registry=of(records.lines, "family_id", family_id),
        home_periods=timeline.home_periods,
        accessed_periods=timeline.accessed_periods,
        intervals=timeline.intervals,
        entries=of(log_of(timeline, records), "family_id", family_id),
        stays=records.stays[of_child].reset_index(drop=True),
        outcomes=records.outcomes[of_line].reset_index(drop=True),
        calls=of(records.calls, "family_id", family_id),
        sign_offs=records.sign_offs[signed].reset_index(drop=True),
        silent_after_days=found.edition.settings.silent_after_days,
        zone=found.policy.zone,
        sees_notes=sees_notes,
    )
    codes = _codes_of(found.edition)
    return history.spans_of(known, found.as_of), history.marks_of(known, codes, found.as_of)


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
    spans: pd.DataFrame, marks: pd.DataFrame, first: date, page: int
) -> tuple[pd.DataFrame, int, int, int]:
    """One page of the table from a day on: its rows, all rows, the page, and pages."""
    day = pd.Timestamp(first)
    all_rows = history.table_of(
        spans[(spans["end_on"] > day).to_numpy(dtype=bool)],
        marks[(marks["on"] >= day).to_numpy(dtype=bool)],
    )
    pages = max(1, -(-len(all_rows) // ROWS_A_PAGE))
    shown = min(max(page, 1), pages)
    rows = all_rows.iloc[(shown - 1) * ROWS_A_PAGE : shown * ROWS_A_PAGE]
    return rows.reset_index(drop=True), len(all_rows), shown, pages


def _codes_of(edition: Edition) -> history.Codes:
    return history.Codes(
        labels={code: f.label for code, f in edition.findings.items()},
        skin=edition.codes_marked(FindingMark.SKIN_EVENT),
        red=edition.codes_marked(FindingMark.RED_FLAG),
        compromised=frozenset(str(w) for w in COMPROMISED_WORDS),
        nothing_seen=NOTHING_SEEN,
    )


def caregivers(found: Snapshot, family_id: str) -> tuple[CaregiverView, ...]:
    """The people who care for the family's lines, with the newest dressing-change sign-off."""
    people = of(found.records.caregivers, "family_id", family_id)
    signed = of(found.records.sign_offs, "skill", str(Skill.DRESSING_CHANGE))
    signed = signed[
        signed["caregiver_id"].isin(people["caregiver_id"])
        & (signed["signed_on"] <= pd.Timestamp(found.as_of))
    ]
    newest = signed.sort_values(["signed_on", "row"]).groupby("caregiver_id").tail(1)
    people = people.merge(
        newest[["caregiver_id", "signed_on", "outcome"]], on="caregiver_id", how="left"
    ).sort_values("caregiver_id")
    names = ("caregiver_id", "relation", "signed_on", "outcome")
    return tuple(
        CaregiverView(code, relation, day(signed_on), outcome)
        for code, relation, signed_on, outcome in cells(people, *names)
    )


def rows_of_family(alone: Snapshot) -> dict[str, frozenset[int]]:
    """Numbers of the stored rows that speak of the family, by table; `alone` holds no other."""
    return {
        name: frozenset(int(r) for r in frame["row"])
        for name, frame in alone.records.frames.items()
    }
