"""Another policy beside the one in force, and what the next two weeks bring."""

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.decisions.capacity import capacity, kits_running_out
from analysis.decisions.whatif import whatif
from analysis.policy import shipped_policy
from analysis.tables.backtest import LATER_EVENTS, MORNINGS
from analysis.tables.planning import TO_CALL
from analysis.timeline import build
from tests.written import day, written

POLICY = shipped_policy()
COUNTS = (
    *("silent_days", "days_overdue", "scored", "late", "skin_events", "lines"),
    *("days_at_home", "stays", "spoiled_recently", "spoiled_often"),
)
NURSES = pd.Series({"F1": "N1", "F2": "N2"})


def mornings(**listed):
    """Eight mornings of two families; `listed` says on which each is called overdue."""
    rows = [(f, d) for d in range(1, 9) for f in ("F1", "F2")]
    on = [d in listed.get(f, ()) for f, d in rows]
    return MORNINGS.build(
        {
            "family_id": [f for f, _ in rows],
            "morning": [f"2031-03-{d:02d}" for _, d in rows],
            "site": ["north"] * len(rows),
            "band": ["call_today" if o else "no_call" for o in on],
            "rank": [1 if o else None for o in on],
            "reasons": ["overdue" if o else None for o in on],
            "silent": [False] * len(rows),
            **{n: [0] * len(rows) for n in COUNTS},
        }
    )


EVENT = LATER_EVENTS.build(
    {
        "family_id": ["F1"],
        "line_id": ["L1"],
        "event": ["skin_event"],
        "on": ["2031-03-08"],
        "last_morning": ["2031-03-08"],
    }
)


def test_two_policies_stand_side_by_side():
    table = whatif(mornings(F1=(5, 6), F2=(1, 2)), mornings(F2=(1, 2)), EVENT, NURSES)
    told = table.set_index(["quantity", "group"])
    columns = ["present", "other", "difference"]
    assert told.loc[("families listed a day", "all"), columns].tolist() == [0.5, 0.25, -0.25]
    assert told.loc[("later events", "all"), columns].tolist() == [1, 1, 0]
    assert told.loc[("later events after a reason to call", "all"), columns].tolist() == [1, 0, -1]
    assert told.loc[("families listed a day", "N1"), columns].tolist() == [0.25, 0, -0.25]
    assert told.loc[("families listed a day", "N2"), columns].tolist() == [0.25, 0.25, 0]


def test_the_same_policy_differs_in_nothing():
    same = mornings(F1=(5, 6))
    assert (whatif(same, same, EVENT, NURSES)["difference"] == 0).all()


def test_fewer_calls_a_day_reach_fewer_events():
    both = mornings(F1=(5, 6), F2=(5, 6)).assign(
        rank=lambda f: f["rank"].mask(f["family_id"] == "F1", 2).where(f["band"] == "call_today")
    )
    table = whatif(both, both, EVENT, NURSES, capacity=(None, 1)).set_index("quantity")
    assert table.loc["calls a day", ["present", "other"]].tolist() == [0.5, 0.25]
    assert table.loc["later events after a call", ["present", "other"]].tolist() == [1, 0]


# 10 March 2031 is a Monday.
LINES = """
line_id | child_id | family_id | site  | home_from  | dressing_on | dressing_type | kit_delivery_days
L1      | C1       | F1        | north | 2031-02-01 | 2031-02-01  | transparent   | 28
L2      | C2       | F2        | south | 2031-02-01 | 2031-02-01  | gauze         |
"""
LOG = """
line_id | done_at    | kind            | kits_left
L1      | 2031-02-10 | supply_count    | 1
L1      | 2031-02-20 | supply_count    | 3
L1      | 2031-03-05 | dressing_change |
L2      | 2031-03-09 | dressing_change | 9
"""


def timeline_of(lines=LINES, log=LOG):
    records = written(lines=lines, home_log=log)
    return build(records, POLICY, day("2031-03-10")), records


def test_changes_due_are_counted_on_their_last_day_on_time_and_go_on():
    timeline, records = timeline_of()
    table = capacity(timeline, records, POLICY, TO_CALL.empty())
    north = table[table["site"] == "north"].set_index("day")["changes_due"]
    assert list(north[north > 0].index.strftime("%m-%d")) == ["03-12", "03-19"]
    south = table[table["site"] == "south"].set_index("day")["changes_due"]
    assert list(south[south > 0].index.day) == [11, 13, 15, 17, 19, 21, 23]
    assert table["weekday"].iloc[0] == "Monday"
    assert table["families_listed"].isna().all()


def test_calls_possible_are_those_of_the_nurses_of_a_site():
    timeline, records = timeline_of()
    edition = POLICY.editions[-1]
    busy = replace(edition, settings=replace(edition.settings, calls_a_day=7))
    table = capacity(timeline, records, replace(POLICY, editions=(busy,)), TO_CALL.empty())
    assert set(table["calls_possible"]) == {7}


def test_what_is_overdue_is_due_today():
    timeline, records = timeline_of(log=LOG.replace("2031-03-05", "2031-02-25"))
    table = capacity(timeline, records, POLICY, TO_CALL.empty()).set_index(["site", "day"])[
        "changes_due"
    ]
    assert table.loc[("north", "2031-03-10")] == 1
    assert table.loc[("north", "2031-03-17")] == 1


def test_calls_to_expect_are_those_of_the_weekday_in_the_weeks_before():
    timeline, records = timeline_of()
    replayed = mornings(F1=(3,), F2=(3,))
    replayed["to_call"] = replayed["rank"].notna().astype(bool)
    table = capacity(timeline, records, POLICY, replayed)
    table = table.set_index(["site", "weekday"]).sort_index()
    monday = table.loc[("north", "Monday"), ["families_listed", "fewest_listed", "most_listed"]]
    assert monday.iloc[0].tolist() == [2, 2, 2]
    assert np.isnan(table.loc[("south", "Monday"), "families_listed"].iloc[0])


def test_kits_run_out_on_the_first_change_without_one_before_the_next_delivery():
    # Three counted on 20 February, one used: two left, for 12 and 19 March; none on the 26th.
    # The count rose on the 20th, so the next delivery comes 28 days later, on the 20th of March.
    timeline, records = timeline_of()
    assert "F1" not in set(kits_running_out(timeline, records, POLICY)["family_id"])
    slow = LINES.replace("| 28", "| 40")
    timeline, records = timeline_of(lines=slow)
    table = kits_running_out(timeline, records, POLICY).set_index("family_id")
    assert table.loc["F1", ["kits_left", "used", "row"]].tolist() == [3, 1, 2]
    assert str(table.loc["F1", "runs_out_on"])[:10] == "2031-03-26"
    assert str(table.loc["F1", "delivery_on"])[:10] == "2031-04-01"


def test_without_a_known_delivery_kits_are_looked_at_for_two_weeks():
    timeline, records = timeline_of()
    assert kits_running_out(timeline, records, POLICY).empty  # nine of them last to the 29th
    timeline, records = timeline_of(log=LOG.replace("| 9", "| 2"))
    table = kits_running_out(timeline, records, POLICY)
    assert table["family_id"].tolist() == ["F2"]
    assert str(table["runs_out_on"].iloc[0])[:10] == "2031-03-15"
    assert table["delivery_on"].isna().all()


def test_nobody_at_home_has_nothing_to_come():
    records = written(lines="line_id | home_from\n")
    timeline = build(records, POLICY, day("2031-03-10"))
    assert capacity(timeline, records, POLICY, TO_CALL.empty()).empty
    assert kits_running_out(timeline, records, POLICY).empty


# A new order of 3 days holds from 13 March, and L1 moves to the south on the 20th.
AHEAD = """
line_id | site  | change_every_days | valid_from | received_at
L1      | north |                   |            | 2031-02-01
L1      | north | 3                 | 2031-03-13 | 2031-03-01
"""


def planned(lines=LINES, log=LOG, earlier=AHEAD):
    head, first, second = lines.strip().splitlines()
    lines = (
        f"{head} | valid_from | received_at | change_every_days\n"
        f"{first.replace('north', 'south')} | 2031-03-20 | 2031-03-02 | 3\n{second} | | 2031-02-01 |\n"
    )
    records = written(lines=lines, home_log=log, earlier_lines=earlier)
    return build(records, POLICY, day("2031-03-10")), records


def test_changes_ahead_follow_the_order_and_the_site_in_force_on_each_day():
    timeline, records = planned()
    table = capacity(timeline, records, POLICY, TO_CALL.empty())
    due = table[(table["changes_due"] > 0).to_numpy()]
    by_site = {site: list(rows["day"].dt.day) for site, rows in due.groupby("site")}
    # Changed on the 5th under no order: due on the 12th. That change is still under no order, so
    # the next is due on the 19th; from then on every 3 days, at the new site.
    assert by_site == {"north": [12, 19], "south": [11, 13, 15, 17, 19, 21, 22, 23]}
    lines = table.set_index(["site", "day"])["lines"]
    assert lines["north"].tolist() == [1] * 10 + [0] * 4
    assert lines["south"].tolist() == [1] * 10 + [2] * 4


def test_kits_run_out_by_the_order_in_force_on_each_day():
    # Two left after the 5th: for the 12th and the 19th. Without the new order none is needed
    # before the 26th, with it on the 22nd.
    timeline, records = planned(lines=LINES.replace("| 28", "| 40"))
    table = kits_running_out(timeline, records, POLICY).set_index("family_id")
    assert str(table.loc["F1", "runs_out_on"])[:10] == "2031-03-22"


def test_kits_are_those_of_the_family_that_the_line_has_now():
    # The registry already names another family from April on.
    lines = LINES.replace("| F1 ", "| F9 ").strip().splitlines()
    text = f"{lines[0]} | valid_from | received_at\n{lines[1]} | 2031-04-01 | 2031-03-02\n"
    earlier = "line_id | family_id | received_at\nL1 | F1 | 2031-02-01\n"
    log = """
line_id | family_id | done_at    | kind            | kits_left
L1      | F1        | 2031-02-10 | supply_count    | 1
L1      | F1        | 2031-02-20 | supply_count    | 3
L1      | F1        | 2031-03-05 | dressing_change |
L1      | F1        | 2031-03-06 | supply_count    | 0
"""
    records = written(lines=text, home_log=log, earlier_lines=earlier)
    table = kits_running_out(build(records, POLICY, day("2031-03-10")), records, POLICY)
    assert table["family_id"].tolist() == ["F1"]
    # 28 days after the count rose.
    assert str(table["delivery_on"].iloc[0])[:10] == "2031-03-20"
