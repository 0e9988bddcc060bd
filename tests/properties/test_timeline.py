"""Timeline and tallies equal a slow day-by-day reading of the definitions."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
from hypothesis import given

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tallies import tally
from analysis.timeline import Timeline, build
from analysis.vocabulary import State, Task
from tests.cases import histories
from tests.oracles.day_by_day import History, Programme
from tests.properties.strategies import (
    A_FEW,
    AS_OF,
    messy_family,
    messy_policy,
    messy_programmes,
    numbered_rows,
    plain,
    records_of,
    together,
)

INTERVAL_FIELDS = (
    "start_on",
    "row",
    "by_home",
    "dressing_type",
    "interval_days",
    "home_on",
    "due_on",
    "allowed_until",
    "reported_on",
    "report_row",
    "end_on",
    "end_row",
    "ended_by",
    "scored",
    "on_time",
    "late_days",
    "in_date_days",
    "out_of_date_days",
)
CARE_FIELDS = (
    "state",
    "last_change_on",
    "change_row",
    "allowed_until",
    "days_overdue",
    "report_row",
)
CLASSES = ("in_date", "out_of_date", "unscored", "not_accessed")
COUNTS = (
    "home_line_days",
    "child_days",
    "heard_days",
    "heard_child_days",
    *(f"{c}_days" for c in CLASSES),
    "intervals_scored",
    "intervals_on_time",
)


def plain_cell(cell: object) -> object:
    """Blank as None, days as dates, numpy numbers and words as Python's."""
    if (
        cell is None
        or cell is pd.NaT
        or cell is pd.NA
        or (isinstance(cell, float) and cell != cell)
    ):
        return None
    if isinstance(cell, pd.Timestamp):
        return cell.date()
    if isinstance(cell, np.generic):
        return cell.item()
    return cell


def rows_of(frame: pd.DataFrame, names: tuple[str, ...]) -> list[tuple]:
    """Rows of a frame as plain tuples."""
    columns = [[plain_cell(c) for c in frame[name].astype(object)] for name in names]
    return list(zip(*columns, strict=True))


def with_ids(frame: pd.DataFrame, timeline: Timeline) -> pd.DataFrame:
    """Put the code of the line in place of its position."""
    return frame.assign(line=timeline.lines["line_id"].to_numpy(dtype=object)[frame["line"]])


def without_zeros(tallied: dict[tuple, Counter]) -> dict[tuple, dict]:
    """Counts by key, those of zero left out."""
    return {key: {n: c for n, c in row.items() if c} for key, row in tallied.items()}


def told_by_build(timeline: Timeline) -> dict[str, list[tuple]]:
    """All frames of a timeline as sorted plain rows."""
    t = timeline
    days = tuple(f"{c}_days" for c in CLASSES)
    read = {
        "lines": rows_of(
            t.lines, ("line_id", "end_on", "at_home", "home_line_days", "unknown_since")
        ),
        "periods": rows_of(with_ids(t.home_periods, t), ("line", "start_on", "end_on", "ended_by")),
        "intervals": rows_of(with_ids(t.intervals, t), ("line", "task", *INTERVAL_FIELDS)),
        "care": rows_of(
            with_ids(t.care, t),
            ("line", "task", *days, "intervals_scored", "intervals_on_time", *CARE_FIELDS),
        ),
        "skin": rows_of(with_ids(t.skin_events, t), tuple(t.skin_events.columns)),
        "outcomes": rows_of(with_ids(t.outcome_events, t), tuple(t.outcome_events.columns)),
        "families": rows_of(
            t.families,
            ("family_id", "last_heard_on", "heard_row", "home_since", "silent_days", "silent"),
        ),
    }
    return {name: sorted(rows, key=repr) for name, rows in read.items()}


def told_by_oracle(programme: Programme) -> dict[str, list[tuple]]:
    """The same rows, worked out day by day."""
    read: dict[str, list[tuple]] = {
        name: [] for name in ("lines", "periods", "intervals", "care", "skin", "families")
    }
    as_of = programme.as_of
    for line in programme.lines.values():
        at_home = programme.at_home(line, as_of)
        for task in programme.tasks_of(line):
            story = programme.task_story(line, task)
            classes = list(story.classes.values())
            read["intervals"] += [
                (line.line_id, task, *(getattr(i, f) for f in INTERVAL_FIELDS))
                for i in story.intervals
            ]
            read["care"].append(
                (
                    line.line_id,
                    task,
                    *(classes.count(c) for c in CLASSES),
                    sum(i.scored for i in story.intervals),
                    sum(i.on_time for i in story.intervals),
                    *(getattr(story, f) for f in CARE_FIELDS),
                )
            )
            if task is Task.DRESSING:
                unknown = story.state is State.UNKNOWN
                read["lines"].append(
                    (
                        line.line_id,
                        programme.end_of(line)[0],
                        at_home,
                        len(programme.home_line_days(line)),
                        programme.unknown_since(line) if unknown else None,
                    )
                )
        read["periods"] += [(line.line_id, *period) for period in programme.home_periods(line)]
        read["skin"] += [
            (e.line_id, e.onset_on, e.last_on, e.findings, e.onset_row, e.last_row, e.at_home)
            for e in programme.skin_events(line)
        ]
    read["outcomes"] = programme.outcome_events()
    for family_id in sorted(programme.families()):
        heard = programme.last_heard(family_id, as_of)
        read["families"].append(
            (
                family_id,
                heard.done_on if heard else None,
                heard.row if heard else -1,
                programme.home_since(family_id, as_of),
                programme.silent_days(family_id, as_of),
                programme.silent(family_id, as_of),
            )
        )
    return read


def tallied_by_code(
    timeline: Timeline, records: Records, policy: Policy
) -> tuple[dict[tuple, dict], dict[tuple, dict]]:
    """Tallies as plain counts by their keys, zeros left out."""
    found = tally(timeline, policy)
    keys = ("family_id", "site", "nurse", "month", "dressing_type", "age_band")
    lines = found.lines.astype(dict.fromkeys(keys[:3], object))
    read = []
    for frame, key, counts in (
        (found.days, ("line", "task", *keys), COUNTS),
        (found.events, ("line", "event", *keys), ("events", "events_elsewhere")),
    ):
        of_line = lines.iloc[frame["line"]].reset_index(drop=True)
        held = {name: of_line[name] for name in ("family_id", "site", "nurse")}
        named = frame.reset_index(drop=True).assign(line=of_line["line_id"], **held)
        rows = rows_of(named, (*key, *counts))
        # A line may come back to a site or nurse that it had before: two rows of one key.
        sums: dict[tuple, Counter] = {}
        for row in rows:
            sums.setdefault(row[: len(key)], Counter()).update(
                dict(zip(counts, row[len(key) :], strict=True))
            )
        read.append(without_zeros(sums))
    return read[0], read[1]


def agree(families: Sequence[History], policy: Policy, as_of: date = AS_OF) -> None:
    """Compare every row of timeline and tallies with the oracle's, taken family by family."""
    records = records_of(together(families))
    timeline = build(records, policy, as_of)
    fast = told_by_build(timeline)
    fast_days, fast_events = tallied_by_code(timeline, records, policy)
    slow: dict[str, list[tuple]] = {name: [] for name in fast}
    slow_days: dict[tuple, Counter] = {}
    slow_events: dict[tuple, Counter] = {}
    for family in families:
        programme = Programme(family, plain(policy), as_of)
        for name, rows in told_by_oracle(programme).items():
            slow[name] += rows
        days, events = programme.tallies()
        slow_days |= days
        slow_events |= events
    for name in fast:
        assert fast[name] == sorted(slow[name], key=repr), name
    assert fast_days == without_zeros(slow_days)
    assert fast_events == without_zeros(slow_events)


@given(messy_programmes())
@A_FEW
def test_timeline_and_tallies_equal_the_day_by_day_reading(
    case: tuple[list[History], Policy],
) -> None:
    agree(*case)


def test_seeded_families_equal_the_day_by_day_reading() -> None:
    chance = random.Random(20310312)
    assert histories() >= 50
    for _ in range(histories() // 50):
        families = [messy_family(chance, f"f{i}") for i in range(50)]
        agree(numbered_rows(chance, families), messy_policy(chance))
