"""Sections 1 to 5 of the definitions in examples small enough to work out by hand.

Each goes through the code and through the day-by-day oracle; both have to give the numbers
written here. The shipped policy holds: transparent 7 days, gauze 2, no grace.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from analysis.policy import IntervalRule, Policy, shipped_policy
from analysis.tables import Records
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import DressingType, Task
from tests.oracles.day_by_day import Programme
from tests.properties.strategies import history_of, plain
from tests.written import day, written

HOME = """
line_id | home_from
L1      | 2031-03-01
"""
PORT = """
line_id | home_from  | line_type
L1      | 2031-03-01 | implanted_port
"""
CLASSES = ("in_date", "out_of_date", "unscored", "not_accessed")


def log(*entries: str) -> str:
    """Home-log entries of line L1, each ``moment kind [column=value …]``."""
    names = ["dressing_condition", "change_reason", "dressing_type", "findings"]
    rows = ["line_id | done_at | kind | " + " | ".join(names)]
    for entry in entries:
        done_at, kind, *more = entry.split()
        cells = dict(cell.split("=") for cell in more)
        rows.append(" | ".join(["L1", done_at, kind, *(cells.get(n, "") for n in names)]))
    return "\n".join(rows)


def care(
    records: Records, as_of: str, task: Task = Task.DRESSING, policy: Policy | None = None
) -> dict[str, object]:
    """Days by class, scored intervals and state of line L1, from code and oracle alike."""
    policy = policy or shipped_policy()
    timeline = build(records, policy, day(as_of))
    at = int((timeline.lines["line_id"] == "L1").to_numpy().argmax())
    found = timeline.care[(timeline.care["line"] == at) & (timeline.care["task"] == task)]
    row = found.iloc[0]
    told = {c: int(row[f"{c}_days"]) for c in CLASSES if row[f"{c}_days"]}
    told["scored"] = int(row["intervals_scored"])
    told["on_time"] = int(row["intervals_on_time"])
    told["state"] = str(row["state"])
    if row["days_overdue"]:
        told["days_overdue"] = int(row["days_overdue"])

    programme = Programme(history_of(records), plain(policy), day(as_of))
    story = programme.task_story(programme.lines["L1"], task)
    classes = list(story.classes.values())
    slow: dict[str, object] = {c: classes.count(c) for c in CLASSES if c in classes}
    slow["scored"] = sum(i.scored for i in story.intervals)
    slow["on_time"] = sum(i.on_time for i in story.intervals)
    slow["state"] = str(story.state)
    if story.days_overdue:
        slow["days_overdue"] = story.days_overdue
    assert told == slow
    return told


def late_days(records: Records, as_of: str, policy: Policy | None = None) -> list[int]:
    """Days late of each scored interval of the dressing."""
    policy = policy or shipped_policy()
    intervals = build(records, policy, day(as_of)).intervals
    scored = intervals[(intervals["task"] == Task.DRESSING) & intervals["scored"]]
    programme = Programme(history_of(records), plain(policy), day(as_of))
    story = programme.task_story(programme.lines["L1"], Task.DRESSING)
    slow = [i.late_days for i in story.intervals if i.scored]
    assert scored["late_days"].tolist() == slow
    return slow


# -- section 1: days -----------------------------------------------------------------------


def home_line_days(records: Records, as_of: str) -> list[int]:
    found = build(records, shipped_policy(), day(as_of)).lines["home_line_days"].tolist()
    programme = Programme(history_of(records), plain(shipped_policy()), day(as_of))
    lines = sorted(programme.lines.values(), key=lambda x: (x.family_id, x.child_id, x.line_id))
    assert found == [len(programme.home_line_days(line)) for line in lines]
    return found


def test_the_day_of_coming_home_counts_and_the_day_of_removal_does_not() -> None:
    records = written(
        lines="""
        line_id | home_from  | removed_on
        L1      | 2031-03-01 | 2031-03-05
        """
    )
    assert home_line_days(records, "2031-03-20") == [4]  # 1, 2, 3, 4


def test_the_as_of_day_is_read_in_its_morning_and_not_counted() -> None:
    assert home_line_days(written(lines=HOME), "2031-03-03") == [2]


def test_a_removal_that_lies_after_the_as_of_day_has_not_happened() -> None:
    records = written(
        lines="""
        line_id | home_from  | removed_on
        L1      | 2031-03-01 | 2031-03-05
        """
    )
    assert care(records, "2031-03-04")["state"] == "unknown"
    assert care(records, "2031-03-05")["state"] == "ended"


def test_the_day_of_admission_does_not_count_and_the_day_of_return_does() -> None:
    stays = "child_id | from_on | to_on\nC1 | 2031-03-04 | 2031-03-07"
    # home on 1, 2, 3 and 7, 8, 9
    assert home_line_days(written(lines=HOME, stays=stays), "2031-03-10") == [6]


def test_each_line_counts_and_the_day_of_the_child_counts_once() -> None:
    records = written(
        lines="""
        line_id | placed_on  | home_from
        L1      | 2031-03-01 | 2031-03-01
        L2      | 2031-03-03 | 2031-03-04
        """
    )
    assert home_line_days(records, "2031-03-08") == [7, 4]
    policy = shipped_policy()
    days = tally(build(records, policy, day("2031-03-08")), policy).days
    dressing = days[days["task"] == Task.DRESSING]
    assert dressing["child_days"].tolist() == [7, 0]  # the child's days are those of its L1


# -- section 3: one interval ---------------------------------------------------------------


def test_a_change_on_its_last_day_is_on_time_and_one_a_day_later_is_late_by_one() -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-01 dressing_change",
            "2031-03-08 dressing_change",  # due on 8
            "2031-03-16 dressing_change",  # due on 15
        ),
    )
    assert care(records, "2031-03-16") == {
        "in_date": 14,
        "out_of_date": 1,  # 15
        "scored": 2,
        "on_time": 1,
        "state": "in_date",
    }
    assert late_days(records, "2031-03-16") == [0, 1]


def test_an_open_interval_is_in_date_then_due_today_then_overdue_and_only_then_scored() -> None:
    records = written(lines=HOME, home_log=log("2031-03-01 dressing_change"))
    assert care(records, "2031-03-07") == {
        "in_date": 6,
        "scored": 0,
        "on_time": 0,
        "state": "in_date",
    }
    assert care(records, "2031-03-08") == {
        "in_date": 7,
        "scored": 0,
        "on_time": 0,
        "state": "due_today",
    }
    assert care(records, "2031-03-10") == {
        "in_date": 7,
        "out_of_date": 2,
        "scored": 1,
        "on_time": 0,
        "state": "overdue",
        "days_overdue": 2,
    }


def test_the_interval_is_set_by_the_dressing_put_on() -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-01 dressing_change dressing_type=gauze",  # 2 days: due on 3
            "2031-03-05 dressing_change",  # the line's transparent again: due on 12
        ),
    )
    assert care(records, "2031-03-08") == {
        "in_date": 5,  # 1, 2 and 5, 6, 7
        "out_of_date": 2,  # 3, 4
        "scored": 1,
        "on_time": 0,
        "state": "in_date",
    }


def test_the_order_of_the_line_comes_before_the_policy() -> None:
    lines = """
    line_id | home_from  | change_every_days
    L1      | 2031-03-01 | 3
    """
    records = written(lines=lines, home_log=log("2031-03-01 dressing_change"))
    assert care(records, "2031-03-05")["days_overdue"] == 1


def test_grace_moves_the_last_day_but_not_the_due_day() -> None:
    policy = shipped_policy()
    edition = policy.editions[0]
    policy = replace(
        policy,
        editions=(replace(edition, settings=replace(edition.settings, grace_days=2)),),
    )
    records = written(lines=HOME, home_log=log("2031-03-01 dressing_change"))
    assert care(records, "2031-03-10", policy=policy)["state"] == "due_today"
    intervals = build(records, policy, day("2031-03-10")).intervals
    assert intervals["due_on"].tolist() == [pd.Timestamp("2031-03-08")]
    assert intervals["allowed_until"].tolist() == [pd.Timestamp("2031-03-10")]


def test_an_interval_follows_the_edition_in_force_on_the_day_of_its_change() -> None:
    policy = shipped_policy()
    first = policy.editions[0]
    every_five = IntervalRule(Task.DRESSING, 5, "made up", dressing_type=DressingType.TRANSPARENT)
    kept = tuple(r for r in first.intervals if r.dressing_type is not DressingType.TRANSPARENT)
    second = replace(first, effective_from=date(2031, 3, 5), intervals=(*kept, every_five))
    policy = replace(policy, editions=(first, second))
    records = written(
        lines=HOME,
        home_log=log("2031-03-01 dressing_change", "2031-03-08 dressing_change"),
    )
    # of 1 March: 7 days, on time on 8; of 8 March: 5 days, due on 13
    assert care(records, "2031-03-14", policy=policy) == {
        "in_date": 12,
        "out_of_date": 1,
        "scored": 2,
        "on_time": 1,
        "state": "overdue",
        "days_overdue": 1,
    }


def test_changes_of_one_date_are_one_change_told_by_the_last() -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-01T18:00 dressing_change dressing_type=gauze",
            "2031-03-01T08:00 dressing_change dressing_type=transparent",
        ),
    )
    intervals = build(records, shipped_policy(), day("2031-03-02")).intervals
    assert intervals["row"].tolist() == [1]
    assert intervals["dressing_type"].tolist() == ["gauze"]


def test_a_dressing_never_due_has_unscored_days_up_to_a_report_that_compromises_it() -> None:
    lines = """
    line_id | home_from  | dressing_type
    L1      | 2031-03-01 | none
    """
    quiet = log("2031-03-01 dressing_change")
    assert care(written(lines=lines, home_log=quiet), "2031-03-21") == {
        "unscored": 20,
        "scored": 0,
        "on_time": 0,
        "state": "in_date",
    }
    reported = log("2031-03-01 dressing_change", "2031-03-19 skin_check dressing_condition=damp")
    assert care(written(lines=lines, home_log=reported), "2031-03-21") == {
        "unscored": 18,
        "out_of_date": 2,
        "scored": 0,
        "on_time": 0,
        "state": "compromised",
        "days_overdue": 2,
    }


# -- section 3: compromised ----------------------------------------------------------------


def test_a_loose_dressing_has_to_be_changed_the_same_day() -> None:
    found = ("2031-03-01 dressing_change", "2031-03-04 skin_check dressing_condition=loose")
    records = written(lines=HOME, home_log=log(*found))
    assert care(records, "2031-03-04")["state"] == "compromised"  # 0 days overdue
    assert care(records, "2031-03-06") == {
        "in_date": 3,  # 1, 2, 3
        "out_of_date": 2,  # 4, 5
        "scored": 1,
        "on_time": 0,
        "state": "compromised",
        "days_overdue": 2,
    }
    same_day = written(lines=HOME, home_log=log(*found, "2031-03-04 dressing_change"))
    assert late_days(same_day, "2031-03-05") == [0]
    next_day = written(lines=HOME, home_log=log(*found, "2031-03-05 dressing_change"))
    assert late_days(next_day, "2031-03-05") == [1]


def test_a_report_on_the_day_of_a_change_is_answered_by_it() -> None:
    records = written(
        lines=HOME,
        home_log=log("2031-03-01 dressing_change", "2031-03-01 skin_check dressing_condition=damp"),
    )
    assert care(records, "2031-03-03")["state"] == "in_date"


@pytest.mark.parametrize(
    ("report", "state"),
    [
        ("2031-03-01T07:59", "in_date"),
        ("2031-03-01T08:00", "in_date"),
        ("2031-03-01T08:01", "compromised"),
    ],
)
def test_a_report_after_the_change_of_the_same_day_speaks_of_the_new_dressing(
    report: str, state: str
) -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-01T08:00 dressing_change", f"{report} skin_check dressing_condition=damp"
        ),
    )
    assert care(records, "2031-03-03")["state"] == state


def test_a_change_for_a_loose_dressing_was_found_and_changed_at_once() -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-01 dressing_change", "2031-03-04 dressing_change change_reason=loose"
        ),
    )
    assert care(records, "2031-03-05") == {
        "in_date": 4,
        "scored": 1,
        "on_time": 1,
        "state": "in_date",
    }
    first = build(records, shipped_policy(), day("2031-03-05")).intervals.iloc[0]
    assert first["reported_on"] == pd.Timestamp("2031-03-04")
    assert first["report_row"] == 2


def test_a_change_for_the_skin_does_not_say_that_the_dressing_was_compromised() -> None:
    records = written(
        lines=HOME,
        home_log=log("2031-03-01 dressing_change", "2031-03-04 dressing_change change_reason=skin"),
    )
    first = build(records, shipped_policy(), day("2031-03-05")).intervals.iloc[0]
    assert pd.isna(first["reported_on"])


def test_a_compromised_dressing_that_was_overdue_before_stays_overdue_since_then() -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-01 dressing_change", "2031-03-11 skin_check dressing_condition=loose"
        ),
    )
    told = care(records, "2031-03-12")
    assert told["state"] == "compromised"
    assert told["days_overdue"] == 4  # since 8 March, not since the report


# -- section 3: the clinic's changes and stays ------------------------------------------------


def test_the_last_change_before_coming_home_makes_the_first_days_scored() -> None:
    lines = """
    line_id | home_from  | placed_on  | dressing_on
    L1      | 2031-03-01 | 2031-02-20 | 2031-02-26
    """
    records = written(lines=lines, home_log=log("2031-03-05 dressing_change"))
    # due on 5 March; home on 1, 2, 3, 4
    assert care(records, "2031-03-06") == {
        "in_date": 5,
        "scored": 1,
        "on_time": 1,
        "state": "in_date",
    }


def test_a_family_is_never_late_for_days_it_was_not_at_home() -> None:
    lines = """
    line_id | home_from  | placed_on  | dressing_on
    L1      | 2031-03-01 | 2031-02-01 | 2031-02-10
    """
    on_return = written(lines=lines, home_log=log("2031-03-01 dressing_change"))
    assert late_days(on_return, "2031-03-02") == [0]
    next_day = written(lines=lines, home_log=log("2031-03-02 dressing_change"))
    assert late_days(next_day, "2031-03-03") == [1]  # allowed until the day of coming home


def test_days_after_a_stay_are_unscored_until_the_next_known_change() -> None:
    stays = "child_id | from_on | to_on | dressing_on\nC1 | 2031-03-04 | 2031-03-10 |"
    records = written(
        lines=HOME,
        stays=stays,
        home_log=log("2031-03-01 dressing_change", "2031-03-12 dressing_change"),
    )
    assert care(records, "2031-03-11")["state"] == "unknown"
    assert care(records, "2031-03-14") == {
        "in_date": 5,  # 1, 2, 3 and 12, 13
        "unscored": 2,  # 10, 11
        "scored": 0,  # cut by admission in date
        "on_time": 0,
        "state": "in_date",
    }


def test_a_change_noted_by_the_clinic_makes_the_days_after_a_stay_scored() -> None:
    stays = "child_id | from_on | to_on | dressing_on\nC1 | 2031-03-04 | 2031-03-10 | 2031-03-08"
    records = written(lines=HOME, stays=stays, home_log=log("2031-03-01 dressing_change"))
    assert care(records, "2031-03-17") == {
        "in_date": 8,  # 1, 2, 3 and 10 … 14
        "out_of_date": 2,  # 15, 16
        "scored": 1,
        "on_time": 0,
        "state": "overdue",
        "days_overdue": 2,
    }


def test_an_interval_cut_by_admission_counts_only_if_it_was_late_by_then() -> None:
    for admitted, scored in (("2031-03-08", 0), ("2031-03-09", 1)):
        stays = f"child_id | from_on | to_on\nC1 | {admitted} | 2031-03-20"
        records = written(lines=HOME, stays=stays, home_log=log("2031-03-01 dressing_change"))
        told = care(records, "2031-03-15")
        assert (told["scored"], told["on_time"], told["state"]) == (scored, 0, "not_at_home")


def test_a_change_on_the_day_of_admission_is_the_clinics_and_does_not_undo_lateness() -> None:
    stays = "child_id | from_on | to_on\nC1 | 2031-03-10 | 2031-03-12"
    records = written(
        lines=HOME,
        stays=stays,
        home_log=log("2031-03-01 dressing_change", "2031-03-10 dressing_change"),
    )
    assert late_days(records, "2031-03-14") == [2]
    intervals = build(records, shipped_policy(), day("2031-03-14")).intervals
    assert intervals["ended_by"].tolist() == ["admission", "as_of"]
    assert intervals["by_home"].tolist() == [True, False]


def test_a_change_done_on_a_stay_before_the_line_was_placed_was_of_another_line() -> None:
    lines = """
    line_id | placed_on  | home_from
    L1      | 2031-03-06 | 2031-03-06
    """
    stays = "child_id | from_on | to_on | dressing_on\nC1 | 2031-03-01 | 2031-03-06 | {}"
    for noted, state in (("2031-03-05", "unknown"), ("2031-03-06", "in_date")):
        records = written(lines=lines, stays=stays.format(noted))
        assert care(records, "2031-03-08")["state"] == state


def test_a_report_during_a_stay_is_the_clinics_matter() -> None:
    stays = "child_id | from_on | to_on | dressing_on\nC1 | 2031-03-02 | 2031-03-06 | 2031-03-03"
    records = written(
        lines=HOME, stays=stays, home_log=log("2031-03-04 skin_check dressing_condition=loose")
    )
    assert care(records, "2031-03-08")["state"] == "in_date"


def test_a_pair_of_stays_that_touch_is_one_stay() -> None:
    stays = """
    child_id | from_on    | to_on      | dressing_on
    C1       | 2031-03-04 | 2031-03-06 | 2031-03-05
    C1       | 2031-03-06 | 2031-03-08 |
    """
    # the second part starts after the clinic's change and does not cut it
    assert care(written(lines=HOME, stays=stays), "2031-03-10") == {
        "in_date": 2,
        "unscored": 3,
        "scored": 0,
        "on_time": 0,
        "state": "in_date",
    }


def test_entries_on_or_after_the_end_of_the_line_are_left_out_of_care() -> None:
    lines = """
    line_id | home_from  | left_on
    L1      | 2031-03-01 | 2031-03-05
    """
    records = written(
        lines=lines,
        home_log=log("2031-03-01 dressing_change", "2031-03-05 dressing_change"),
    )
    assert care(records, "2031-03-10") == {
        "in_date": 4,
        "scored": 0,
        "on_time": 0,
        "state": "ended",
    }


# -- section 3: ports and the other tasks -----------------------------------------------------


def test_a_port_is_scored_only_while_accessed() -> None:
    records = written(
        lines=PORT,
        home_log=log(
            "2031-03-03 port_accessed",  # a change of dressing and needle, due on 10
            "2031-03-09 needle_change",
            "2031-03-12 port_deaccessed",  # cuts the dressing two days late
        ),
    )
    assert care(records, "2031-03-15") == {
        "in_date": 7,  # 3 … 9
        "out_of_date": 2,  # 10, 11
        "not_accessed": 5,  # 1, 2 and 12, 13, 14
        "scored": 1,
        "on_time": 0,
        "state": "not_accessed",
    }
    assert care(records, "2031-03-15", Task.NEEDLE) == {
        "in_date": 9,
        "not_accessed": 5,
        "scored": 1,
        "on_time": 1,
        "state": "not_accessed",
    }


def test_access_while_accessed_is_a_new_change() -> None:
    records = written(
        lines=PORT, home_log=log("2031-03-01 port_accessed", "2031-03-06 port_accessed")
    )
    told = care(records, "2031-03-08")
    assert (told["scored"], told["on_time"], told["state"]) == (1, 1, "in_date")


def test_a_needle_out_and_in_on_one_day_leaves_the_port_accessed() -> None:
    records = written(
        lines=PORT,
        home_log=log(
            "2031-03-01 port_accessed",
            "2031-03-07T09:00 port_deaccessed",
            "2031-03-07T09:20 port_accessed",
        ),
    )
    assert care(records, "2031-03-10") == {
        "in_date": 9,
        "scored": 1,
        "on_time": 1,
        "state": "in_date",
    }


def test_only_a_port_has_a_needle() -> None:
    timeline = build(written(lines=HOME), shipped_policy(), day("2031-03-05"))
    assert timeline.care["task"].tolist() == ["dressing", "connector", "flush"]


def test_a_flush_follows_the_order_and_without_one_is_never_due() -> None:
    flushed = log("2031-03-01 flush")
    ordered = "line_id | home_from | flush_every_days\nL1 | 2031-03-01 | 1"
    assert care(written(lines=ordered, home_log=flushed), "2031-03-04", Task.FLUSH) == {
        "in_date": 1,
        "out_of_date": 2,
        "scored": 1,
        "on_time": 0,
        "state": "overdue",
        "days_overdue": 2,
    }
    assert care(written(lines=HOME, home_log=flushed), "2031-03-04", Task.FLUSH) == {
        "unscored": 3,
        "scored": 0,
        "on_time": 0,
        "state": "in_date",
    }


# -- section 2: what holds from a day on -----------------------------------------------------

SHORTENED = """
line_id | home_from  | dressing_on | change_every_days | site  | valid_from | received_at
L1      | 2031-03-01 | 2031-03-01  | 4                 | south |            | 2031-03-16T10:00
"""
AS_BEFORE = """
line_id | change_every_days | site  | received_at
L1      |                   | north | 2031-02-27T10:00
"""


def test_an_order_of_the_16th_makes_no_earlier_change_late() -> None:
    entries = log(*(f"2031-03-{d} dressing_change" for d in ("08", "15", "22")))
    records = written(lines=SHORTENED, earlier_lines=AS_BEFORE, home_log=entries)
    # every 7 days until the 16th: the changes of 1, 8 and 15 March; every 4 days since
    assert late_days(records, "2031-03-25") == [0, 0, 0]
    assert late_days(records, "2031-03-27") == [0, 0, 0, 1]
    named = SHORTENED.replace("south |            |", "south | 2031-03-05 |")
    records = written(lines=named, earlier_lines=AS_BEFORE, home_log=entries)
    # a correction names its day: the changes of 8 and 15 March were due on 12 and 19 March
    assert late_days(records, "2031-03-25") == [0, 3, 3]


def test_a_line_that_moves_keeps_its_old_days_at_the_old_site() -> None:
    records = written(lines=SHORTENED, earlier_lines=AS_BEFORE, home_log=log("2031-03-20 note"))
    policy = shipped_policy()
    timeline = build(records, policy, day("2031-03-21"))
    assert list(timeline.lines["site"]) == ["south"]
    tallies = tally(timeline, policy)
    dressing = tallies.days[tallies.days["task"] == Task.DRESSING]
    site = tallies.lines["site"].take(dressing["line"]).to_numpy()
    days = dressing["home_line_days"].to_numpy()
    assert {s: int(days[site == s].sum()) for s in ("north", "south")} == {"north": 15, "south": 5}
    before = build(records, policy, day("2031-03-15"))
    assert list(before.lines["site"]) == ["north"]


def test_a_version_holds_from_the_day_of_receipt_in_the_programmes_zone() -> None:
    late = SHORTENED.replace("2031-03-16T10:00", "2031-03-16T03:30")  # the 15th in New York
    records = written(lines=late, earlier_lines=AS_BEFORE)
    policy = replace(shipped_policy(), time_zone="America/New_York")
    assert list(build(records, policy, day("2031-03-15")).lines["site"]) == ["south"]
    assert list(build(records, shipped_policy(), day("2031-03-15")).lines["site"]) == ["north"]


# -- section 4: silence ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "silent_days", "silent"),
    [
        ((), 9, True),  # since it came home on 1 March
        (("2031-03-02 note",), 8, False),
        (("2031-02-27 note",), 9, True),  # last heard before it came home
        (("2031-03-10 note",), 0, False),
    ],
)
def test_silent_days_run_from_last_heard_or_from_coming_home(
    entries: tuple[str, ...], silent_days: int, silent: bool
) -> None:
    records = written(lines=HOME, **({"home_log": log(*entries)} if entries else {}))
    family = build(records, shipped_policy(), day("2031-03-10")).families.iloc[0]
    assert (family["silent_days"], family["silent"]) == (silent_days, silent)
    programme = Programme(history_of(records), plain(shipped_policy()), day("2031-03-10"))
    assert programme.silent_days("F1", day("2031-03-10")) == silent_days


def test_log_coverage_counts_home_line_days_on_which_the_family_was_not_silent() -> None:
    # home from 1 March, not silent to 9 March; heard on 12 March, not silent to 20 March
    records = written(lines=HOME, home_log=log("2031-03-12 note"))
    policy = shipped_policy()
    days = tally(build(records, policy, day("2031-03-25")), policy).days
    dressing = days[days["task"] == Task.DRESSING]
    assert dressing["home_line_days"].sum() == 24
    assert dressing["heard_days"].sum() == 18


# -- section 5: skin events and infections ----------------------------------------------------


def skin_events(records: Records, as_of: str) -> list[tuple[str, int, bool]]:
    events = build(records, shipped_policy(), day(as_of)).skin_events
    programme = Programme(history_of(records), plain(shipped_policy()), day(as_of))
    slow = [
        (e.onset_on.isoformat(), e.findings, e.at_home)
        for e in programme.skin_events(programme.lines["L1"])
    ]
    onsets = [d.date().isoformat() for d in events["onset_on"]]
    fast = list(zip(onsets, events["findings"], events["at_home"], strict=True))
    assert fast == slow
    return slow


def test_findings_a_week_apart_are_one_event_and_eight_days_apart_are_two() -> None:
    records = written(
        lines=HOME,
        home_log=log(
            "2031-03-02 skin_check findings=redness",
            "2031-03-09 skin_check findings=rash;itch",
            "2031-03-17 skin_check findings=redness",
            "2031-03-18 skin_check findings=none",
            "2031-03-19 skin_check findings=itch",  # watched, no skin event
        ),
    )
    assert skin_events(records, "2031-03-20") == [("2031-03-02", 2, True), ("2031-03-17", 1, True)]


def test_an_onset_on_the_day_of_admission_is_homes_and_one_in_the_stay_is_not() -> None:
    stays = "child_id | from_on | to_on\nC1 | 2031-03-04 | 2031-03-20"
    for onset, at_home in (("2031-03-04", True), ("2031-03-05", False), ("2031-03-20", True)):
        records = written(
            lines=HOME, stays=stays, home_log=log(f"{onset} skin_check findings=redness")
        )
        assert skin_events(records, "2031-03-25") == [(onset, 1, at_home)]


def test_infections_within_fourteen_days_of_the_first_are_one_event() -> None:
    records = written(
        lines=HOME,
        outcomes="""
        child_id | line_id | outcome               | onset_on
        C1       | L1      | bloodstream_infection | 2031-03-02
        C1       | L1      | bloodstream_infection | 2031-03-15
        C1       | L1      | bloodstream_infection | 2031-03-16
        C1       | L1      | occlusion             | 2031-03-03
        """,
    )
    events = build(records, shipped_policy(), day("2031-03-30")).outcome_events
    # day 1 is 2 March, so day 14 is 15 March
    assert events["row"].tolist() == [1, 4, 3]
    programme = Programme(history_of(records), plain(shipped_policy()), day("2031-03-30"))
    assert [row for *_, row, _ in programme.outcome_events()] == [1, 4, 3]


# -- tallies ----------------------------------------------------------------------------------


def test_a_tally_is_split_by_month_dressing_in_force_and_birthday() -> None:
    lines = """
    line_id | home_from  | born
    L1      | 2031-03-30 | 2030-04
    """
    records = written(
        lines=lines,
        home_log=log(
            "2031-03-30 dressing_change",
            "2031-04-02 dressing_change dressing_type=gauze",  # due on 4
        ),
    )
    policy = shipped_policy()
    days = tally(build(records, policy, day("2031-04-06")), policy).days
    dressing = days[days["task"] == Task.DRESSING].astype({"month": "str", "age_band": "str"})
    names = ["month", "dressing_type", "age_band", "home_line_days", "in_date_days"]
    assert dressing[[*names, "out_of_date_days"]].to_numpy().tolist() == [
        ["2031-03-01", "transparent", "0", 2, 2, 0],  # 30, 31
        ["2031-04-01", "transparent", "1-4", 1, 1, 0],  # 1
        ["2031-04-01", "gauze", "1-4", 4, 2, 2],  # 2, 3 in date; 4, 5 not
    ]


def test_a_scored_interval_counts_in_the_month_of_the_last_day_it_covers() -> None:
    records = written(
        lines=HOME,
        home_log=log("2031-03-25 dressing_change", "2031-04-01 dressing_change"),
    )
    policy = shipped_policy()
    days = tally(build(records, policy, day("2031-04-03")), policy).days
    dressing = days[days["task"] == Task.DRESSING]
    assert dressing["intervals_scored"].tolist() == [1, 0]  # March, April
