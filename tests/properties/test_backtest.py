"""A replayed morning knows nothing that came later, and outcomes dealt anew leave no lift."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from analysis.decisions import call_list
from analysis.decisions.backtest import backtest
from analysis.decisions.history import History, Versions, morning_of
from analysis.decisions.mornings import morning
from analysis.decisions.order import in_order
from analysis.decisions.replayed import Replayed
from analysis.policy import shipped_policy
from analysis.tables import KNOWN
from analysis.tables.backtest import LATER_EVENTS, MORNINGS
from analysis.timeline import build
from tests.cases import cases
from tests.fitted import model
from tests.written import written

POLICY = shipped_policy()
SPOILED = ("spoiled_recently", "spoiled_often")
MORNING = date(2031, 3, 20)
LINES = """
line_id | child_id | family_id | home_from  | dressing_on
L1      | C1       | F1        | 2031-03-01 | 2031-03-01
L2      | C2       | F2        | 2031-03-02 | 2031-03-01
L3      | C3       | F3        | 2031-03-05 |
"""

entries = st.fixed_dictionaries(
    {
        "line": st.sampled_from(["L1", "L2", "L3"]),
        "done": st.integers(1, 19),
        "delay": st.integers(0, 12),
        "hour": st.integers(0, 23),
        "kind": st.sampled_from(["dressing_change", "skin_check", "supply_count"]),
        "findings": st.sampled_from([None, "none", "redness", "fever"]),
        "condition": st.sampled_from([None, "loose", "intact"]),
        "kits": st.sampled_from([None, 0, 5]),
        "key": st.integers(0, 8),
        "void": st.booleans(),
    }
)


def history_of(rows):
    """Lines known from the start, and log entries as drawn; the same key corrects."""
    base = written(lines=LINES, calls="family_id | called_at\n")
    received = [
        pd.Timestamp(2031, 3, r["done"], r["hour"]) + timedelta(days=r["delay"]) for r in rows
    ]
    log = KNOWN["home_log"].build(
        {
            "row": range(1, len(rows) + 1),
            "received_at": received,
            "line_id": [r["line"] for r in rows],
            "family_id": [r["line"].replace("L", "F") for r in rows],
            "done_on": [date(2031, 3, r["done"]) for r in rows],
            "kind": [r["kind"] for r in rows],
            "findings": [r["findings"] for r in rows],
            "dressing_condition": [r["condition"] for r in rows],
            "kits_left": [r["kits"] for r in rows],
        }
    )
    tables = {
        name: Versions.of(frame, range(len(frame)), np.zeros(len(frame), dtype=bool))
        for name, frame in base.frames.items()
        if name not in {"home_log", "calls", "arrangements"}
    }
    tables["home_log"] = Versions.of(log, [r["key"] for r in rows], [r["void"] for r in rows])
    calls = base.calls
    arranged = base.arrangements.assign(received_at=base.arrangements["made_at"])
    none = [Versions.of(acts, [], []) for acts in (calls, arranged)]
    return History(tables, *none), received


def list_of(history):
    records = history.records(morning_of(MORNING, POLICY), by=MORNING)
    return morning(records, POLICY, MORNING)


@cases(16)
@given(st.lists(entries, max_size=25))
def test_a_report_received_later_than_a_morning_never_changes_its_list(rows):
    history, received = history_of(rows)
    cut = pd.Timestamp(morning_of(MORNING, POLICY)).tz_localize(None)
    in_time = [r for r, at in zip(rows, received, strict=True) if at <= cut]
    pd.testing.assert_frame_equal(list_of(history), list_of(history_of(in_time)[0]))


def fitted_list_of(history):
    records = history.records(morning_of(MORNING, POLICY), by=MORNING)
    timeline = build(records, POLICY, MORNING)
    rules = call_list(timeline, records, POLICY)
    return in_order(rules, timeline, records, model("late_share", 3.0), "")


@cases(12)
@given(st.lists(entries, max_size=25))
def test_nor_does_it_change_the_fitted_order_or_the_expected_shares(rows):
    history, received = history_of(rows)
    cut = pd.Timestamp(morning_of(MORNING, POLICY)).tz_localize(None)
    in_time = [r for r, at in zip(rows, received, strict=True) if at <= cut]
    told, known = fitted_list_of(history), fitted_list_of(history_of(in_time)[0])
    pd.testing.assert_frame_equal(told.families, known.families)


@cases(30)
@given(st.lists(entries, max_size=25))
def test_what_was_known_is_the_newest_version_of_each_key_received_by_then(rows):
    history, received = history_of(rows)
    cut = pd.Timestamp(morning_of(MORNING, POLICY)).tz_localize(None)
    newest = {}
    numbered = sorted(enumerate(zip(rows, received, strict=True), 1), key=lambda r: (r[1][1], r[0]))
    for number, (row, at) in numbered:
        if at <= cut:
            newest[row["key"]] = None if row["void"] else number
    known = history.records(morning_of(MORNING, POLICY)).home_log
    assert sorted(known["row"]) == sorted(n for n in newest.values() if n is not None)


def programme(random, families=120, days=28):
    """Mornings on which families with a higher risk are listed more often, and their events."""
    risk = random.gamma(1.0, 0.04, families)
    on = pd.date_range("2031-03-01", periods=days)
    listed = random.random((days, families)) < np.minimum(4 * risk, 0.9)
    rank = np.where(listed, np.cumsum(listed, axis=1), 0).ravel()
    count = days * families
    zeros = {n: [0] * count for n in ("silent_days", "days_overdue", "scored", "late")}
    mornings = MORNINGS.build(
        {
            "morning": np.repeat(on, families),
            "family_id": [f"F{f:03d}" for f in range(families)] * days,
            "site": ["north"] * count,
            "band": np.where(rank > 0, "call_today", "no_call"),
            "rank": [int(r) if r else None for r in rank],
            "reasons": [None] * count,
            "silent": [False] * count,
            "days_since_change": random.integers(0, 9, count),
            "lines": [1] * count,
            **{n: [0] * count for n in (*SPOILED, "skin_events", "days_at_home", "stays")},
            **zeros,
        }
    )
    day, family = np.nonzero(random.random((days, families)) < risk)
    events = LATER_EVENTS.build(
        {
            "family_id": [f"F{f:03d}" for f in family],
            "line_id": ["L"] * len(day),
            "event": ["skin_event"] * len(day),
            "on": on[day],
            "last_morning": on[day],
        }
    )
    return Replayed.of(mornings, events)


def test_outcomes_dealt_anew_among_a_mornings_families_leave_a_lift_of_one():
    random = np.random.default_rng(7)
    replayed = programme(random)
    own = backtest(replayed, capacity=10).set_index("order").loc["rule order"]
    assert own["lift_lower"] > 1
    lifts, held = [], 0
    for _ in range(40):
        event = replayed.event.copy().reshape(-1, 120)
        dealt = random.permuted(event, axis=1).ravel()
        rule = backtest(replace(replayed, event=dealt), capacity=10).iloc[0]
        lifts.append(rule["lift"])
        held += rule["lift_lower"] <= 1 <= rule["lift_upper"]
    assert 0.95 < np.mean(lifts) < 1.05
    assert held >= 32


@cases(20)
@given(st.integers(0, 2**32), st.integers(1, 30))
def test_figures_of_an_order_add_up(seed, capacity):
    replayed = programme(np.random.default_rng(seed), families=30, days=10)
    table = backtest(replayed, capacity, recheck_days=2)
    assert table["calls"].nunique() == 1 or table["calls"].max() == table["calls"].iloc[0]
    assert (table["hits"] <= table["calls"]).all()
    assert (table["events_called"] <= table["events"]).all()
    assert (table["calls"] <= 10 * capacity).all()
