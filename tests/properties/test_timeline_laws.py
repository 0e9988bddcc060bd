"""Laws of the timeline: what may change in the records without changing what is told."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, timedelta
from typing import Any
from unittest import mock

import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables import timeline as catalogue
from analysis.tallies import tally
from analysis.timeline import Timeline, build, entered
from tests.oracles.day_by_day import Entry, History, Line, Outcome, Stay
from tests.properties.strategies import A_FEW, AS_OF, messy_programmes, records_of, together

FRAMES = {
    "lines": catalogue.HOME_LINES,
    "home_periods": catalogue.HOME_PERIODS,
    "accessed_periods": catalogue.ACCESSED_PERIODS,
    "intervals": catalogue.INTERVALS,
    "care": catalogue.CARE,
    "skin_events": catalogue.SKIN_EVENTS,
    "outcome_events": catalogue.OUTCOME_EVENTS,
    "families": catalogue.FAMILIES,
}
CLASSES = ("in_date_days", "out_of_date_days", "unscored_days", "not_accessed_days")


def same(a: Timeline, b: Timeline) -> None:
    """Every frame equal to the bit."""
    assert vars(a).keys() >= FRAMES.keys()
    for name in FRAMES:
        pd.testing.assert_frame_equal(getattr(a, name), getattr(b, name), obj=name)


def counted_with(timeline: Timeline, records: Records, policy: Policy) -> list[pd.DataFrame]:
    found = tally(timeline, policy)
    return [found.days, found.events]


@given(messy_programmes())
@A_FEW
def test_every_frame_is_as_catalogued(case: tuple[list[History], Policy]) -> None:
    families, policy = case
    records = records_of(together(families))
    timeline = build(records, policy, AS_OF)
    assert vars(timeline).keys() >= FRAMES.keys()
    for name, entry in FRAMES.items():
        pd.testing.assert_frame_equal(entry.check(getattr(timeline, name)), getattr(timeline, name))
    days, events = counted_with(timeline, records, policy)
    catalogue.TALLY.check(days)
    catalogue.EVENT_TALLY.check(events)


@given(messy_programmes(), st.randoms(use_true_random=False))
@A_FEW
def test_the_order_of_rows_does_not_matter(
    case: tuple[list[History], Policy], chance: random.Random
) -> None:
    families, policy = case
    records = records_of(together(families))
    shuffled = Records(
        **{
            name: frame.iloc[chance.sample(range(len(frame)), len(frame))].reset_index(drop=True)
            for name, frame in records.frames.items()
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
@A_FEW
def test_families_worked_on_apart_equal_the_whole_to_the_bit(
    case: tuple[list[History], Policy],
) -> None:
    families, policy = case
    records = records_of(together(families))
    whole = build(records, policy, AS_OF)
    parts, counted = [], []
    n_lines = n_holders = n_families = 0
    for family in families:
        own = records_of(family)
        part = build(own, policy, AS_OF)
        frames = {name: getattr(part, name) for name in FRAMES}
        frames |= dict(zip(("days", "events"), counted_with(part, own, policy), strict=True))
        for name, frame in frames.items():
            by_line = n_holders if name in {"days", "events"} else n_lines
            moved = {
                key: frame[key] + by
                for key, by in (("line", by_line), ("family", n_families))
                if key in frame.columns
            }
            frames[name] = frame.assign(**moved)
        parts.append({name: frames[name] for name in FRAMES})
        counted.append([frames["days"], frames["events"]])
        n_lines += len(part.lines)
        n_holders += len(tally(part, policy).lines)
        n_families += len(part.families)
    assert len(parts) == len(families)
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
@A_FEW
def test_how_many_lines_are_worked_on_at_once_does_not_matter(
    case: tuple[list[History], Policy], entries_in_block: int
) -> None:
    families, policy = case
    records = records_of(together(families))
    whole = build(records, policy, AS_OF)
    with mock.patch.object(entered, "_BLOCK", entries_in_block):
        same(whole, build(records, policy, AS_OF))


@given(messy_programmes())
@A_FEW
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
@A_FEW
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
    assert len(here.lines) == len(there.lines)
    for name in FRAMES:
        frame = getattr(here, name)
        days = {
            c: (frame[c] + shift).astype("datetime64[s]")
            for c in frame.columns
            if c.endswith(("_on", "_from", "_until", "_since"))
        }
        pd.testing.assert_frame_equal(frame.assign(**days), getattr(there, name), obj=name)


@given(messy_programmes())
@A_FEW
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
@A_FEW
def test_days_of_all_classes_add_up_to_home_line_days_in_care_and_tallies(
    case: tuple[list[History], Policy],
) -> None:
    families, policy = case
    records = records_of(together(families))
    timeline = build(records, policy, AS_OF)
    tallies = tally(timeline, policy)
    place = timeline.lines.set_index("line_id")["line"]
    line = tallies.lines["line_id"].map(place).to_numpy()
    days = tallies.days.assign(line=line[tallies.days["line"]])
    classes = list(CLASSES)
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
    if isinstance(row, Line):
        days["earlier"] = tuple(_moved(version, shift) for version in row.earlier)
    return replace(row, **days)
