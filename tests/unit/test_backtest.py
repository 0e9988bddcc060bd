"""Replayed mornings against later events, on tables small enough to count by hand."""

from datetime import UTC, date, datetime

import numpy as np
import pandas as pd
import pytest

from analysis.decisions.backtest import backtest, calibration, called, preceded
from analysis.decisions.history import History, Versions, morning_of
from analysis.decisions.later_events import HARM, PROCESS, later_events
from analysis.decisions.mornings import morning
from analysis.decisions.replayed import Replayed
from analysis.policy import shipped_policy
from analysis.tables.backtest import LATER_EVENTS, MORNINGS
from analysis.timeline import build
from tests.written import day, written

POLICY = shipped_policy()
SPOILED = ("spoiled_recently", "spoiled_often")
LINES = """
line_id | child_id | family_id | home_from  | dressing_on | removed_on | removal_reason
L1      | C1       | F1        | 2031-03-01 | 2031-03-01  | 2031-03-20 | dislodgement
L2      | C2       | F2        | 2031-03-01 | 2031-03-01  | 2031-03-20 | therapy_complete
L3      | C3       | F3        | 2031-03-01 | 2031-03-01  |            |
"""
LOG = """
line_id | done_at    | kind            | findings
L1      | 2031-03-08 | dressing_change | redness
L1      | 2031-03-15 | dressing_change | none
L2      | 2031-03-10 | dressing_change | none
L2      | 2031-03-17 | dressing_change | none
L3      | 2031-03-08 | dressing_change | none
L3      | 2031-03-19 | dressing_change | none
"""


def events_by(as_of="2031-03-25", lines=LINES, log=LOG):
    records = written(lines=lines, home_log=log)
    found = later_events(build(records, POLICY, day(as_of)), records)
    found = found.assign(on=found["on"].dt.strftime("%m-%d"))
    return found[["family_id", "event", "on"]].values.tolist()


def test_later_events_are_skin_events_unplanned_removals_and_three_days_out_of_date():
    # F2 was two days out of date and its removal planned; F3 was out of date from the 15th on.
    assert events_by() == [
        ["F1", "skin_event", "03-08"],
        ["F3", "three_days_out_of_date", "03-17"],
        ["F1", "unplanned_removal", "03-20"],
    ]


def test_a_removal_without_a_reason_is_unplanned():
    lines = LINES.replace("therapy_complete", "")
    assert ["F2", "unplanned_removal", "03-20"] in events_by(lines=lines)


def test_nothing_at_home_has_no_later_events():
    assert events_by(log="line_id | done_at | kind\n", as_of="2031-03-02") == []


def mornings(*rows):
    """Rows of family, day of March, band, rank and days since the last change."""
    cells = list(zip(*rows, strict=True))
    count = len(rows)
    return MORNINGS.build(
        {
            "family_id": cells[0],
            "morning": [f"2031-03-{d:02d}" for d in cells[1]],
            "band": cells[2],
            "rank": cells[3],
            "days_since_change": cells[4],
            "reasons": ["overdue" if b in {"call_today", "waiting"} else None for b in cells[2]],
            "site": ["north" if f < "F3" else "south" for f in cells[0]],
            "silent": [f == "F1" for f in cells[0]],
            **{n: [0] * count for n in ("silent_days", "days_overdue", "scored", "late")},
            "lines": [1] * count,
            **{n: [0] * count for n in (*SPOILED, "skin_events", "days_at_home", "stays")},
        }
    )


def happened(*rows):
    """Rows of family and day of March."""
    on = [f"2031-03-{d:02d}" for _, d in rows]
    return LATER_EVENTS.build(
        {
            "family_id": [f for f, _ in rows],
            "line_id": ["L"] * len(rows),
            "event": ["skin_event"] * len(rows),
            "on": on,
            "last_morning": on,
        }
    )


# Four families on one morning; the rules call F1 and F2, F4 waits after a call.
ONE_DAY = (
    ("F1", 10, "call_today", 1, 3),
    ("F2", 10, "call_today", 2, 9),
    ("F3", 10, "no_call", None, 5),
    ("F4", 10, "waiting", None, 20),
)


def test_precision_and_lift_count_families_that_could_be_called():
    replayed = Replayed.of(mornings(*ONE_DAY), happened(("F1", 12), ("F4", 12)))
    rule = backtest(replayed).set_index("order").loc["rule order"]
    assert rule[["family_mornings", "calls", "hits"]].tolist() == [3, 2, 1]
    assert rule["precision"] == 1 / 2
    assert rule["lift"] == pytest.approx((1 / 2) / (1 / 3))
    assert np.isnan(rule["precision_lower"])
    assert rule["auc"] == 1
    assert rule["net_benefit"] == pytest.approx((1 - 0.05 / 0.95) / 3)


def test_other_orders_make_as_many_calls_as_the_rules():
    replayed = Replayed.of(mornings(*ONE_DAY), happened(("F3", 12)))
    table = backtest(replayed, capacity=1).set_index("order")
    assert table["calls"].tolist() == [1, 1, 1]
    assert table.loc["days since change", "hits"] == 0  # F2 has waited longest of F1 to F3


@pytest.mark.parametrize(("on", "within"), [(9, False), (10, True), (16, True), (17, False)])
def test_an_event_counts_on_the_mornings_day_and_the_six_after_it(on, within):
    replayed = Replayed.of(mornings(*ONE_DAY), happened(("F1", on)))
    assert replayed.event.tolist() == [within, False, False, False]


def test_a_dressing_counts_only_on_mornings_on_which_it_is_not_yet_overdue():
    lines = "line_id | family_id | home_from | dressing_on\nL1 | F1 | 2031-03-01 | 2031-03-01"
    log = "line_id | done_at | kind\nL1 | 2031-03-13 | dressing_change"
    records = written(lines=lines, home_log=log)
    found = later_events(build(records, POLICY, day("2031-03-20")), records)
    week = mornings(*[("F1", d, "call_today", 1, 3) for d in range(1, 15)])
    # Out of date from the 8th to the 12th: three of those days are over in the week from the 4th
    # on; on the 8th it is due, and from the 9th on overdue, which is no later event.
    flags = Replayed.of(week, found, PROCESS).event
    assert [d for d, hit in zip(range(1, 15), flags, strict=True) if hit] == [4, 5, 6, 7, 8]
    assert not Replayed.of(week, found, HARM).event.any()


def test_a_list_of_overdue_families_foresees_nothing_by_being_overdue():
    # The one family is overdue on all mornings, nothing else ever happens to it: the order of the
    # rules calls it, and no call is followed by an event of either kind.
    lines = "line_id | family_id | home_from | dressing_on\nL1 | F1 | 2031-03-01 | 2031-03-01"
    records = written(lines=lines, home_log="line_id | done_at | kind\n")
    found = later_events(build(records, POLICY, day("2031-03-30")), records)
    week = mornings(*[("F1", d, "call_today", 1, d) for d in range(9, 23)])
    for kind in (HARM, PROCESS):
        table = backtest(Replayed.of(week, found, kind)).set_index("order")
        assert table.loc["rule order", ["calls", "hits"]].tolist() == [14, 0]
        assert set(table["judged_by"]) == {kind}


def test_a_confirmed_infection_at_home_is_harm_and_repeats_count_once():
    lines = (
        "line_id | child_id | family_id | home_from | dressing_on\n"
        "L1 | C1 | F1 | 2031-03-01 | 2031-03-01"
    )
    outcomes = (
        "child_id | line_id | outcome | onset_on | confirmed_on\n"
        "C1 | L1 | bloodstream_infection | 2031-03-05 | 2031-03-06\n"
        "C1 | L1 | bloodstream_infection | 2031-03-06 | 2031-03-07\n"
        "C1 | L1 | occlusion | 2031-03-07 | 2031-03-07"
    )
    records = written(lines=lines, home_log="line_id | done_at | kind\n", outcomes=outcomes)
    found = later_events(build(records, POLICY, day("2031-03-08")), records)
    assert found[["event", "on"]].astype(str).to_numpy().tolist() == [
        ["bloodstream_infection", "2031-03-05"]
    ]


WEEK = tuple(
    ("F1", d, "call_today" if d >= 13 else "no_call", 1 if d >= 13 else None, 3)
    for d in range(10, 18)
)


def test_lead_time_runs_from_the_first_morning_with_a_reason():
    table = preceded(Replayed.of(mornings(*WEEK), happened(("F1", 16))))
    assert table.iloc[0][["events", "preceded", "median_lead_days"]].tolist() == [1, 1, 3]


def test_an_event_whose_mornings_were_not_all_replayed_is_left_out():
    table = preceded(Replayed.of(mornings(*WEEK), happened(("F1", 15))))
    assert table.iloc[0]["events"] == 0
    assert np.isnan(table.iloc[0]["share"])


def test_a_family_called_rests_until_its_recheck():
    replayed = Replayed.of(mornings(*WEEK), happened())
    score = -replayed.mornings["rank"].astype("Float64").to_numpy(np.float64, na_value=np.inf)
    assert called(replayed, score, None, 2).tolist() == [False] * 3 + [True, False] * 2 + [True]
    assert called(replayed, score, None).sum() == 5


def test_calls_per_event_divide_calls_by_events_that_one_came_before():
    replayed = Replayed.of(mornings(*WEEK), happened(("F1", 16), ("F1", 17)))
    rule = backtest(replayed, recheck_days=2).set_index("order").loc["rule order"]
    assert rule[["calls", "events", "events_called", "calls_per_event"]].tolist() == [3, 2, 2, 1.5]


def test_groups_split_what_came_of_one_list():
    replayed = Replayed.of(mornings(*ONE_DAY), happened(("F1", 12)))
    sites = backtest(replayed, by="site").set_index(["order", "group"])
    assert sites.loc[("rule order", "north"), ["calls", "hits"]].tolist() == [2, 1]
    assert sites.loc[("rule order", "south"), ["calls", "hits"]].tolist() == [0, 0]
    logs = backtest(replayed, by="log_coverage").set_index(["order", "group"])
    assert logs.loc[("rule order", "log coverage under 80 %"), "calls"] == 1


def test_calibration_gives_the_share_with_an_event_by_band_and_reason():
    replayed = Replayed.of(mornings(*ONE_DAY), happened(("F1", 12), ("F4", 12)))
    table = calibration(replayed).set_index("group")
    assert table.loc["call_today", ["family_mornings", "with_event"]].tolist() == [2, 1]
    assert table.loc["overdue", "observed"] == 2 / 3
    assert "call_this_week" not in table.index


def test_no_mornings_or_no_events_give_no_numbers():
    replayed = Replayed.of(MORNINGS.empty(), LATER_EVENTS.empty())
    assert backtest(replayed).empty
    assert preceded(replayed).iloc[0]["events"] == 0
    assert calibration(replayed).empty
    quiet = backtest(Replayed.of(mornings(*ONE_DAY), LATER_EVENTS.empty())).iloc[0]
    assert quiet["precision"] == 0
    assert np.isnan(quiet["lift"])


def versions(records, name, keys, void):
    return Versions.of(getattr(records, name), keys, void)


def test_a_morning_knows_the_newest_version_received_before_it_began():
    log = """
    line_id | done_at    | kind            | received_at
    L1      | 2031-03-08 | dressing_change | 2031-03-08T10:00
    L1      | 2031-03-09 | dressing_change | 2031-03-10T10:00
    L1      | 2031-03-09 | dressing_change | 2031-03-12T10:00
    """
    records = written(lines=LINES, home_log=log)
    tables = {
        n: versions(records, n, range(len(getattr(records, n))), [False] * len(getattr(records, n)))
        for n in ("lines", "stays", "caregivers", "sign_offs", "outcomes")
    }
    # The second row corrects the first, the third withdraws it.
    tables["home_log"] = versions(records, "home_log", [1, 1, 1], [False, False, True])
    calls = records.calls
    arranged = records.arrangements.assign(received_at=records.arrangements["made_at"])
    history = History(tables, *(Versions.of(acts, [], []) for acts in (calls, arranged)))

    def rows(on):
        return list(history.records(morning_of(date(2031, 3, on), POLICY)).home_log["row"])

    assert [rows(on) for on in (8, 9, 10, 11, 12, 13)] == [[], [1], [1], [2], [2], []]
    assert list(history.records(datetime(2031, 3, 10, 10, tzinfo=UTC)).home_log["row"]) == [2]


def test_a_morning_lists_every_family_at_home_beside_its_reasons():
    records = written(lines=LINES, home_log=LOG)
    table = morning(records, POLICY, day("2031-03-18")).set_index("family_id")
    assert table.loc["F3", ["band", "days_overdue", "days_since_change"]].tolist() == [
        "call_today", 3, 10,
    ]  # fmt: skip
    assert table.loc["F1", "band"] == "no_call"
    assert pd.isna(table.loc["F1", "rank"])
