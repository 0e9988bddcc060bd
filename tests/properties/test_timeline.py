"""The timeline equals a slow day-by-day reading of the definitions, and keeps its laws."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from unittest import mock

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables import timeline as catalogue
from analysis.tallies import tally
from analysis.timeline import Timeline, build, entered
from analysis.vocabulary import State, Task
from tests.oracles.day_by_day import Entry, History, Line, Outcome, Programme, Stay
from tests.properties.strategies import (
    AS_OF,
    messy_family,
    messy_policy,
    messy_programmes,
    numbered_rows,
    plain,
    records_of,
    together,
)

SOME = settings(
    max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
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
FRAMES = {
    "lines": catalogue.HOME_LINES,
    "home_spells": catalogue.HOME_SPELLS,
    "accessed_spells": catalogue.ACCESSED_SPELLS,
    "intervals": catalogue.INTERVALS,
    "care": catalogue.CARE,
    "skin_events": catalogue.SKIN_EVENTS,
    "outcome_events": catalogue.OUTCOME_EVENTS,
    "families": catalogue.FAMILIES,
}
CLASSES = ("in_date", "out_of_date", "unscored", "not_accessed")
COUNTS = (
    "home_line_days",
    "child_days",
    "heard_days",
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
    told = {
        "lines": rows_of(
            t.lines, ("line_id", "end_on", "at_home", "home_line_days", "unknown_since")
        ),
        "spells": rows_of(with_ids(t.home_spells, t), ("line", "start_on", "end_on", "ended_by")),
        "intervals": rows_of(with_ids(t.intervals, t), ("line", "task", *INTERVAL_FIELDS)),
        "care": rows_of(
            with_ids(t.care, t),
            ("line", "task", *days, "intervals_scored", "intervals_on_time", *CARE_FIELDS),
        ),
        "skin": rows_of(with_ids(t.skin_events, t), tuple(t.skin_events.columns)),
        "outcomes": rows_of(with_ids(t.outcome_events, t), tuple(t.outcome_events.columns)),
        "families": rows_of(
            t.families, ("family_id", "last_heard_on", "heard_row", "silent_days", "silent")
        ),
    }
    return {name: sorted(rows, key=repr) for name, rows in told.items()}


def told_by_oracle(programme: Programme) -> dict[str, list[tuple]]:
    """The same rows, worked out day by day."""
    told: dict[str, list[tuple]] = {
        name: [] for name in ("lines", "spells", "intervals", "care", "skin", "families")
    }
    as_of = programme.as_of
    for line in programme.lines.values():
        at_home = programme.at_home(line, as_of)
        for task in programme.tasks_of(line):
            story = programme.task_story(line, task)
            classes = list(story.classes.values())
            told["intervals"] += [
                (line.line_id, task, *(getattr(i, f) for f in INTERVAL_FIELDS))
                for i in story.intervals
            ]
            told["care"].append(
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
                told["lines"].append(
                    (
                        line.line_id,
                        programme.end_of(line)[0],
                        at_home,
                        len(programme.home_line_days(line)),
                        programme.unknown_since(line) if unknown else None,
                    )
                )
        told["spells"] += [(line.line_id, *spell) for spell in programme.home_spells(line)]
        told["skin"] += [
            (e.line_id, e.onset_on, e.last_on, e.findings, e.onset_row, e.last_row, e.at_home)
            for e in programme.skin_events(line)
        ]
    told["outcomes"] = programme.outcome_events()
    for family_id in sorted({x.family_id for x in programme.lines.values()}):
        heard = programme.last_heard(family_id, as_of)
        told["families"].append(
            (
                family_id,
                heard.done_on if heard else None,
                heard.row if heard else -1,
                programme.silent_days(family_id, as_of),
                programme.silent(family_id, as_of),
            )
        )
    return told


def tallied_by_code(
    timeline: Timeline, records: Records, policy: Policy
) -> tuple[dict[tuple, dict], dict[tuple, dict]]:
    """Tallies as plain counts by their keys, zeros left out."""
    found = tally(timeline, records, policy)
    keys = ("month", "dressing_type", "age_band")
    told = []
    for frame, key, counts in (
        (found.days, ("line", "task", *keys), COUNTS),
        (found.events, ("line", "event", *keys), ("events", "events_elsewhere")),
    ):
        rows = rows_of(with_ids(frame, timeline), (*key, *counts))
        told.append(
            {
                row[: len(key)]: {n: c for n, c in zip(counts, row[len(key) :], strict=True) if c}
                for row in rows
            }
        )
        assert len(told[-1]) == len(rows)
    return told[0], told[1]


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
@SOME
def test_timeline_and_tallies_equal_the_day_by_day_reading(
    case: tuple[list[History], Policy],
) -> None:
    agree(*case)


def test_two_thousand_seeded_families_equal_the_day_by_day_reading() -> None:
    chance = random.Random(20310312)
    for _ in range(20):
        families = [messy_family(chance, f"f{i}") for i in range(100)]
        agree(numbered_rows(chance, families), messy_policy(chance))


def same(a: Timeline, b: Timeline) -> None:
    """Every frame equal to the bit."""
    for name in FRAMES:
        pd.testing.assert_frame_equal(getattr(a, name), getattr(b, name), obj=name)


def counted_with(timeline: Timeline, records: Records, policy: Policy) -> list[pd.DataFrame]:
    found = tally(timeline, records, policy)
    return [found.days, found.events]


@given(messy_programmes())
@SOME
def test_every_frame_is_as_catalogued(case: tuple[list[History], Policy]) -> None:
    families, policy = case
    records = records_of(together(families))
    timeline = build(records, policy, AS_OF)
    for name, entry in FRAMES.items():
        pd.testing.assert_frame_equal(entry.check(getattr(timeline, name)), getattr(timeline, name))
    days, events = counted_with(timeline, records, policy)
    catalogue.TALLY.check(days)
    catalogue.EVENT_TALLY.check(events)


@given(messy_programmes(), st.randoms(use_true_random=False))
@SOME
def test_the_order_of_rows_does_not_matter(
    case: tuple[list[History], Policy], chance: random.Random
) -> None:
    families, policy = case
    records = records_of(together(families))
    shuffled = Records(
        **{
            name: frame.iloc[chance.sample(range(len(frame)), len(frame))].reset_index(drop=True)
            for name, frame in vars(records).items()
        }
    )
    timeline, again = build(records, policy, AS_OF), build(shuffled, policy, AS_OF)
    same(timeline, again)
    for a, b in zip(
        counted_with(timeline, records, policy),
        counted_with(again, shuffled, policy),
        strict=True,
    ):
        pd.testing.assert_frame_equal(a, b)


@given(messy_programmes(max_families=4))
@SOME
def test_families_worked_on_apart_equal_the_whole_to_the_bit(
    case: tuple[list[History], Policy],
) -> None:
    families, policy = case
    records = records_of(together(families))
    whole = build(records, policy, AS_OF)
    parts, counted = [], []
    n_lines = n_families = 0
    for family in families:
        own = records_of(family)
        part = build(own, policy, AS_OF)
        frames = {name: getattr(part, name) for name in FRAMES}
        frames |= dict(zip(("days", "events"), counted_with(part, own, policy), strict=True))
        for name, frame in frames.items():
            moved = {
                key: frame[key] + by
                for key, by in (("line", n_lines), ("family", n_families))
                if key in frame.columns
            }
            frames[name] = frame.assign(**moved)
        parts.append({name: frames[name] for name in FRAMES})
        counted.append([frames["days"], frames["events"]])
        n_lines += len(part.lines)
        n_families += len(part.families)
    for name in FRAMES:
        joined = pd.concat([p[name] for p in parts], ignore_index=True)
        if "task" in joined.columns:
            joined = joined.sort_values("task", kind="stable", ignore_index=True)
        pd.testing.assert_frame_equal(joined, getattr(whole, name), obj=name)
    for at, frame in enumerate(counted_with(whole, records, policy)):
        joined = pd.concat([c[at] for c in counted], ignore_index=True)
        if "task" in joined.columns:
            joined = joined.sort_values("task", kind="stable", ignore_index=True)
        pd.testing.assert_frame_equal(joined, frame)


@given(messy_programmes(), st.integers(1, 40))
@SOME
def test_how_many_lines_are_worked_on_at_once_does_not_matter(
    case: tuple[list[History], Policy], entries_in_block: int
) -> None:
    families, policy = case
    records = records_of(together(families))
    whole = build(records, policy, AS_OF)
    with mock.patch.object(entered, "_BLOCK", entries_in_block):
        same(whole, build(records, policy, AS_OF))


@given(messy_programmes())
@SOME
def test_a_stay_told_as_two_that_touch_changes_nothing(
    case: tuple[list[History], Policy],
) -> None:
    families, policy = case
    split = []
    for family in families:
        stays = []
        taken = {(s.child_id, s.from_on) for s in family.stays}
        for stay in family.stays:
            middle = stay.from_on + timedelta(days=1)
            long_enough = stay.to_on is None or middle < stay.to_on
            if long_enough and middle <= AS_OF and (stay.child_id, middle) not in taken:
                taken.add((stay.child_id, middle))
                stays += [
                    replace(stay, to_on=middle),
                    replace(stay, from_on=middle, dressing_on=None),
                ]
            else:
                stays.append(stay)
        split.append(replace(family, stays=tuple(stays)))
    same(
        build(records_of(together(families)), policy, AS_OF),
        build(records_of(together(split)), policy, AS_OF),
    )


@given(messy_programmes(), st.integers(-800, 800))
@SOME
def test_moving_every_day_moves_every_day_of_the_timeline(
    case: tuple[list[History], Policy], by: int
) -> None:
    families, policy = case
    shift = timedelta(days=by)
    moved = [
        History(*(tuple(_moved(r, shift) for r in rows) for rows in vars(family).values()))
        for family in families
    ]
    first, *later = policy.editions
    editions = (
        first,
        *(replace(e, effective_from=e.effective_from + shift) for e in later),
    )
    there = build(records_of(together(moved)), replace(policy, editions=editions), AS_OF + shift)
    here = build(records_of(together(families)), policy, AS_OF)
    for name in FRAMES:
        frame = getattr(here, name)
        days = {
            c: (frame[c] + shift).astype("datetime64[s]")
            for c in frame.columns
            if c.endswith(("_on", "_from", "_until", "_since"))
        }
        pd.testing.assert_frame_equal(frame.assign(**days), getattr(there, name), obj=name)


@given(messy_programmes())
@SOME
def test_what_is_dated_after_the_as_of_day_is_not_known(
    case: tuple[list[History], Policy],
) -> None:
    families, policy = case
    cut = [
        replace(
            family,
            stays=tuple(s for s in family.stays if s.from_on <= AS_OF),
            entries=tuple(e for e in family.entries if e.done_on <= AS_OF),
            outcomes=tuple(o for o in family.outcomes if o.onset_on <= AS_OF),
        )
        for family in families
    ]
    same(
        build(records_of(together(families)), policy, AS_OF),
        build(records_of(together(cut)), policy, AS_OF),
    )


@given(messy_programmes())
@SOME
def test_days_of_all_classes_add_up_to_home_line_days_in_care_and_tallies(
    case: tuple[list[History], Policy],
) -> None:
    families, policy = case
    records = records_of(together(families))
    timeline = build(records, policy, AS_OF)
    days = tally(timeline, records, policy).days
    classes = [f"{c}_days" for c in CLASSES]
    home_line_days = timeline.lines["home_line_days"].to_numpy()
    assert (timeline.care[classes] >= 0).all(axis=None)
    assert (days[classes] >= 0).all(axis=None)
    assert (
        timeline.care[classes].sum(axis=1).to_numpy() == home_line_days[timeline.care["line"]]
    ).all()
    assert (days[classes].sum(axis=1) == days["home_line_days"]).all()
    by_line = days.groupby(["line", "task"], observed=True).sum(numeric_only=True)
    for row in timeline.care.itertuples():
        for name in (*classes, "intervals_scored", "intervals_on_time"):
            tallied = by_line[name].get((row.line, row.task), 0)
            assert tallied == getattr(row, name)


def _moved(row: Line | Stay | Entry | Outcome, shift: timedelta) -> Any:
    days = {
        name: value + shift
        for name, value in vars(row).items()
        if isinstance(value, date) and name != "born"
    }
    return replace(row, **days)
