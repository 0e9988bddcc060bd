"""What is known of one family: its lines with their histories, its people, its rows?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from analysis.decisions.asked import family_languages
from analysis.policy import Edition
from analysis.snapshot import Snapshot
from analysis.vocabulary import COMPROMISED_WORDS, NOTHING_SEEN, FindingMark, Skill, Task
from dashboard import history
from dashboard.queries.frames import cells, day, of
from dashboard.views import CaregiverView, LineView


def known_family(found: Snapshot, family_id: object) -> str | None:
    """The code, if there is a family with it."""
    known = found.timeline.families["family_id"]
    return family_id if isinstance(family_id, str) and bool((known == family_id).any()) else None


def how_to_reach(found: Snapshot, family_id: str) -> tuple[str | None, str | None]:
    """Newest contact and language of the family's lines."""
    lines = of(found.records.lines, "family_id", family_id).sort_values(["received_at", "row"])
    contact = lines["contact"].dropna()
    language = family_languages(replace(found.records, lines=lines))
    return (
        str(contact.iloc[-1]) if len(contact) else None,
        str(language.iloc[-1]) if len(language) else None,
    )


def line_views(found: Snapshot, family_id: str, entries: pd.DataFrame) -> tuple[LineView, ...]:
    """The family's lines, those in use first, then by child and day of placement.

    `entries` are the home-log rows of the family.
    """
    lines = of(found.timeline.lines, "family_id", family_id)
    care = of(found.timeline.care, "task", str(Task.DRESSING))
    lines = lines.merge(care, on="line").assign(ended=lines["end_on"].notna())
    lines = lines.sort_values(["ended", "child_id", "placed_on", "line_id"])
    names = (
        *("line", "line_id", "child_id", "line_type", "therapy", "site", "nurse", "placed_on"),
        *("home_from", "end_on", "state", "last_change_on", "allowed_until", "days_overdue"),
    )
    codes = _codes_of(found.edition)
    views = []
    for cell in cells(lines, *names):
        known = dict(zip(names, cell, strict=True))
        records = _line_records(found, known, family_id, entries)
        views.append(
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
                spans=history.spans_of(records, found.as_of),
                marks=history.marks_of(records, codes, found.as_of),
            )
        )
    return tuple(views)


def _line_records(
    found: Snapshot, line: Mapping[str, Any], family_id: str, entries: pd.DataFrame
) -> history.LineRecords:
    records, timeline = found.records, found.timeline
    spans = timeline.intervals
    mine = (spans["line"] == line["line"]) & (spans["task"] == str(Task.DRESSING))
    line_id, child_id = str(line["line_id"]), str(line["child_id"])
    lines = of(timeline.lines, "family_id", family_id)
    return history.LineRecords(
        intervals=spans[mine.to_numpy(dtype=bool)].reset_index(drop=True),
        entries=of(entries, "line_id", line_id),
        family_entries=entries,
        line=of(records.lines, "line_id", line_id),
        stays=of(records.stays, "child_id", child_id),
        outcomes=of(records.outcomes, "line_id", line_id),
        calls=of(records.calls, "family_id", family_id),
        heard_from=pd.Timestamp(lines["home_from"].min()),
        silent_after_days=found.edition.settings.silent_after_days,
    )


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


def rows_of_family(
    found: Snapshot, family_id: str, entries: pd.DataFrame
) -> dict[str, frozenset[int]]:
    """Numbers of the stored rows that speak of the family, by table."""
    records = found.records
    lines = of(records.lines, "family_id", family_id)
    of_family = {
        "lines": lines,
        "stays": records.stays[records.stays["child_id"].isin(lines["child_id"])],
        "outcomes": records.outcomes[records.outcomes["line_id"].isin(lines["line_id"])],
        "home_log": entries,
        "calls": of(records.calls, "family_id", family_id),
    }
    return {name: frozenset(int(r) for r in frame["row"]) for name, frame in of_family.items()}
