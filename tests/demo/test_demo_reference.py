"""The line table of the demo equals the day-by-day reading of the definitions."""

from collections import defaultdict

import pandas as pd

from analysis.measures.lines import line_table
from analysis.vocabulary import Task
from tests.demo.conftest import AS_OF, POLICY
from tests.oracles.day_by_day import History, Programme
from tests.properties.strategies import history_of, plain

EVERY = 4
"""One family in so many is read day by day; the whole table is calculated."""
CLASSES = ("in_date", "out_of_date", "unscored", "not_accessed")


def cells(frame, names):
    """Rows of a frame as dictionaries of plain values, blank as None."""
    columns = {}
    for name in names:
        column = frame[name]
        if pd.api.types.is_datetime64_any_dtype(column):
            plainly = [None if pd.isna(c) else c.to_pydatetime() for c in column]
            if name.endswith("_on") or name in {"home_from", "born"}:
                plainly = [c and c.date() for c in plainly]
        else:
            plainly = [None if pd.isna(c) else c for c in column.astype(object)]
        columns[name] = plainly
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def histories(records):
    """Each family's records in the oracle's own words."""
    whole = history_of(records)
    family_of_child = {line.child_id: line.family_id for line in whole.lines}
    parts = defaultdict(lambda: defaultdict(list))
    for line in whole.lines:
        parts[line.family_id]["lines"].append(line)
    for stay in whole.stays:
        parts[family_of_child[stay.child_id]]["stays"].append(stay)
    for entry in whole.entries:
        parts[entry.family_id]["entries"].append(entry)
    return [History(**{k: tuple(v) for k, v in part.items()}) for part in parts.values()]


def by_oracle(history):
    programme = Programme(history, plain(POLICY), AS_OF)
    for line in programme.lines.values():
        story = programme.task_story(line, Task.DRESSING)
        classes = list(story.classes.values())
        heard = programme.last_heard(line.family_id, AS_OF)
        yield {
            "line_id": line.line_id,
            "home_line_days": len(programme.home_line_days(line)),
            **{f"{c}_days": classes.count(c) for c in CLASSES},
            "intervals_scored": sum(i.scored for i in story.intervals),
            "intervals_on_time": sum(i.on_time for i in story.intervals),
            "state": str(story.state),
            "last_change_on": story.last_change_on,
            "allowed_until": story.allowed_until,
            "days_overdue": story.days_overdue,
            "skin_events": sum(
                e.at_home and e.onset_on < AS_OF for e in programme.skin_events(line)
            ),
            "last_heard_on": heard.done_on if heard else None,
            "silent_days": programme.silent_days(line.family_id, AS_OF),
        }


def test_the_line_table_equals_the_day_by_day_reading(whole_demo):
    snapshot = whole_demo.snapshot()
    read = histories(snapshot.records)[::EVERY]
    slow = [row for history in read for row in by_oracle(history)]
    table = line_table(snapshot.timeline, Task.DRESSING)
    table = table[table["line_id"].isin([row["line_id"] for row in slow])]
    fast = cells(table, list(slow[0]))
    for row in fast:
        row["allowed_until"] = row["allowed_until"] and row["allowed_until"].date()
    slow.sort(key=lambda row: row["line_id"])
    fast.sort(key=lambda row: row["line_id"])
    assert len(fast) > 400 / EVERY
    assert fast == slow
