"""What is behind a rise: families, mix, steps and kits before and since a month, counted by hand."""

import pytest

from analysis.decisions.behind_a_rise import behind_a_rise
from analysis.measures.surveillance import PROGRAMME
from analysis.vocabulary import Grouping
from tests.written import received_daily, snapshot_of, written

LINES = """
line_id | child_id | family_id | site  | home_from  | nurse
L1      | C1       | F1        | south | 2031-01-01 | N1
L2      | C2       | F2        | south | 2031-02-01 | N2
L3      | C3       | F3        | north | 2031-01-01 | N1
"""
LOG = """
line_id | done_at    | kind            | findings | kits_left | steps_missed
L1      | 2031-01-05 | supply_count    |          | 6         |
L1      | 2031-01-12 | skin_check      | rash     |           |
L1      | 2031-02-03 | supply_count    |          | 1         |
L2      | 2031-02-04 | supply_count    |          | 0         |
L2      | 2031-02-05 | supply_count    |          | 5         |
L3      | 2031-02-05 | supply_count    |          | 0         |
L1      | 2031-02-06 | skin_check      | rash     |           |
L2      | 2031-02-07 | skin_check      | rash     |           |
L2      | 2031-02-20 | skin_check      | rash     |           |
""" + "".join(
    f"{line} | 2031-02-{day} | dressing_change | none | | {missed}\n"
    for line, missed in (("L1", "mask"), ("L2", "none"), ("L3", "none"))
    for day in (10, 12, 14)
)


@pytest.fixture(scope="module")
def found():
    records = received_daily(written(lines=LINES, home_log=LOG))
    return snapshot_of(records, "2031-03-01", "2031-02-28")


def test_families_with_events_since_come_with_events_and_last_day(found):
    families = behind_a_rise(found, "skin", "south", "2031-02").families
    assert families["family_id"].tolist() == ["F2", "F1"]
    assert families["events"].tolist() == [2, 1]
    assert families["last_on"].dt.day.tolist() == [20, 6]


def test_the_mix_counts_each_groups_events_and_share_of_line_days(found):
    mix = behind_a_rise(found, "skin", "south", "2031-02").mix[Grouping.NURSE].set_index("group")
    assert mix.loc["N1", ["events_before", "events_since"]].tolist() == [1, 1]
    assert mix.loc["N2", ["events_before", "events_since"]].tolist() == [0, 2]
    assert mix.loc["N1", "share_before"] == 1.0
    assert mix["share_since"].sum() == pytest.approx(1)


def test_kit_counts_of_the_site_are_split_at_the_month(found):
    kits = behind_a_rise(found, "skin", "south", "2031-02").kits
    assert kits.loc["before"].tolist() == [1, 0]
    assert kits.loc["since"].tolist() == [3, 2]
    everywhere = behind_a_rise(found, "skin", PROGRAMME, "2031-02").kits
    assert everywhere.loc["since"].tolist() == [4, 3]


def test_a_step_missed_more_than_elsewhere_is_first_and_a_rare_one_is_not_compared(found):
    steps = behind_a_rise(found, "skin", "south", "2031-02").steps
    first = steps.iloc[0]
    assert first["step"] == "mask"
    assert (first["missed"], first["seen"], first["elsewhere_share"]) == (3, 6, 0.0)
    assert behind_a_rise(found, "skin", PROGRAMME, "2031-02").steps.empty


def test_nothing_is_behind_an_event_that_never_happened(found):
    none = behind_a_rise(found, "thrombosis", "north", "2031-02")
    assert none.families.empty
    assert none.mix[Grouping.NURSE]["events_since"].sum() == 0


def test_counts_of_a_family_that_moved_are_those_of_the_site_on_their_day():
    lines = LINES.strip().splitlines()
    moved = "\n".join(
        [
            f"{lines[0]} | valid_from | received_at",
            f"{lines[1].replace('south', 'north')} | 2031-02-01 | 2031-02-01",
            *(f"{line} | | 2031-01-01" for line in lines[2:]),
        ]
    )
    earlier = "line_id | site | received_at\nL1 | south | 2031-01-01"
    records = received_daily(written(lines=moved, home_log=LOG, earlier_lines=earlier))
    seen = snapshot_of(records, "2031-03-01", "2031-02-28")
    south, north = (behind_a_rise(seen, "skin", site, "2031-02") for site in ("south", "north"))
    assert (south.kits.loc["before"].tolist(), south.kits.loc["since"].tolist()) == ([1, 0], [2, 1])
    assert (north.kits.loc["before"].tolist(), north.kits.loc["since"].tolist()) == ([0, 0], [2, 2])
    # L1's missed masks are north's now: 3 of 6 there, none of 3 at south.
    assert north.steps.iloc[0][["step", "missed", "seen"]].tolist() == ["mask", 3, 6]
