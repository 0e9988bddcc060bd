"""Mornings replayed in one go list the families that each morning's own list does."""

import random
from dataclasses import replace
from datetime import datetime, time, timedelta

import numpy as np
import pandas as pd

from analysis.days import day_number
from analysis.decisions import call_list, many_mornings, recent_entries, turning_mornings
from analysis.decisions.history import History, Versions, microseconds, morning_of
from analysis.decisions.many_mornings import to_call
from analysis.decisions.recent_entries import without_replaced
from analysis.policy import shipped_policy
from analysis.tables import KNOWN
from analysis.timeline import build
from analysis.vocabulary import DressingType, EntryKind, LineType
from tests.cases import histories
from tests.oracles.day_by_day import Entry
from tests.properties.strategies import (
    AS_OF,
    FINDINGS,
    messy_family,
    messy_policy,
    numbered_rows,
    records_of,
    together,
)
from tests.written import written

DAYS = [AS_OF - timedelta(days=n) for n in range(8, 2, -1)]
FEW = {"red_flag_days": 3, "sign_off_recent_days": 6, "late_pattern_of": 3, "early_failures_of": 2}
"""Settings with which most entries of a few weeks are old."""


def often_changed(draw, family):
    """The family with a dressing change every few days next to its other entries."""
    more = [
        replace(entry, kind=EntryKind.DRESSING_CHANGE, kits_left=None, done_on=on, done_at=None)
        for entry in family.entries[:6]
        for on in (AS_OF - timedelta(days=draw.randrange(90)) for _ in range(6))
    ]
    return replace(family, entries=(*family.entries, *more))


def in_order(draw, family):
    """The family with dressings changed in time, skin checked often, and a line that ended before."""
    ended_on = AS_OF - timedelta(days=draw.randrange(8, 30))
    line = replace(
        family.lines[0],
        family_id=family.lines[0].child_id,
        line_type=LineType.TUNNELED_CVC,
        dressing_type=DressingType.TRANSPARENT,
        change_every_days=None,
        flush_every_days=None,
        removed_on=None,
        left_on=None,
        placed_on=AS_OF - timedelta(days=80),
        home_from=AS_OF - timedelta(days=80),
        received_at=datetime.combine(AS_OF - timedelta(days=99), time()),
        valid_from=None,
        earlier=(),
    )
    before = replace(line, line_id=f"{line.line_id}b", removed_on=ended_on)
    if draw.random() < 0.5:  # the other line follows the one that ended
        line = replace(line, placed_on=ended_on, home_from=ended_on)

    def entry(days_ago, kind, **other):
        on = AS_OF - timedelta(days=days_ago)
        late = timedelta(days=draw.choice((0, 0, 0, 3)), hours=20)
        moment = datetime.combine(on, time()) + late
        whose = line if on >= line.home_from else before
        keys = {"line_id": whose.line_id, "family_id": whose.family_id, "received_at": moment}
        return Entry(row=0, done_on=on, kind=kind, **keys, **other)

    quiet_from = draw.choice((0, 0, 5, 12))
    checks = [
        entry(
            n,
            EntryKind.SKIN_CHECK,
            findings=draw.choice((None, ("none",), (draw.choice(FINDINGS),))),
            kits_left=draw.choice((None, None, 4)),
        )
        for n in range(quiet_from, 30)
        if draw.random() < 0.3
    ]
    changes = [entry(n, EntryKind.DRESSING_CHANGE) for n in range(quiet_from + 1, 80, 4)]
    whole = (*checks, *changes)
    return replace(family, lines=(before, line), stays=(), entries=whole, sign_offs=())


def received_by_and_by(draw, records):
    """The records as a history: received at some time, some corrected or withdrawn later."""
    tables = {}
    for name in ("stays", "caregivers", "sign_offs", "outcomes", "home_log"):
        frame = getattr(records, name)
        moments = [
            pd.Timestamp(AS_OF) - timedelta(hours=draw.randrange(900)) for _ in range(len(frame))
        ]
        if name != "home_log":  # an entry has its own
            frame = frame.assign(received_at=np.array(moments, dtype="datetime64[us]"))
        tables[name] = corrected(draw, frame, date=name == "home_log")
    lines = [f for f in (records.earlier_lines, records.lines) if len(f)]
    lines = pd.concat(lines, ignore_index=True)
    words = {c.name: c.dtype for c in KNOWN["lines"].columns if str(c.dtype) == "category"}
    lines = lines.astype(words).assign(row=np.arange(len(lines)))
    tables["lines"] = Versions.of(
        lines, pd.factorize(lines["line_id"])[0], np.zeros(len(lines), bool)
    )
    made = records.arrangements.assign(received_at=records.arrangements["made_at"])
    return History(tables, corrected(draw, records.calls), corrected(draw, made))


def corrected(draw, frame, *, date=False):
    """A quarter of the rows has a second version, of another day or void."""
    at = [n for n in range(len(frame)) if draw.random() < 0.25]
    again = frame.iloc[at].copy()
    again["row"] += 100_000
    hours = np.array([draw.randrange(1, 400) for _ in at], dtype="timedelta64[h]")
    again["received_at"] += hours
    if date:
        again["done_on"] += np.array([draw.randrange(-3, 2) for _ in at], dtype="timedelta64[D]")
    void = np.array([False] * len(frame) + [draw.random() < 0.3 for _ in at], dtype=bool)
    both = pd.concat([frame, again], ignore_index=True) if at else frame
    return Versions.of(both, [*range(len(frame)), *at], void)


def as_received(records):
    """The records as a history in which no row was ever corrected."""

    def plain(frame):
        return Versions.of(frame, np.arange(len(frame)), np.zeros(len(frame), dtype=bool))

    names = ("lines", "stays", "caregivers", "sign_offs", "outcomes", "home_log")
    made = records.arrangements.assign(received_at=records.arrangements["made_at"])
    tables = {name: plain(getattr(records, name)) for name in names}
    return History(tables, plain(records.calls), plain(made))


def known_later(history, policy):
    """The history as found from what is in force after its last morning and what was revised."""
    records = history.records(morning_of(AS_OF, policy))
    acts = {"calls": history.calls, "arrangements": history.arrangements}
    revised = {
        name: versions.only(versions.void | (np.bincount(versions.key)[versions.key] > 1))
        for name, versions in {**history.tables, **acts}.items()
    }
    revised["arrangements"] = history.arrangements
    lines = Versions.of_known(records.lines, revised["lines"])
    at = microseconds(morning_of(DAYS[0], policy))
    log = without_replaced(
        records.home_log, revised["home_log"], lines, at, day_number(DAYS[0]), policy
    )
    return History.of_known(replace(records, home_log=log), revised)


def one_by_one(history, policy):
    """By morning and family with a line at home: its site, and whether its list names it to call."""
    found = {}
    for day in DAYS:
        records = history.records(morning_of(day, policy))
        timeline = build(records, policy, day)
        families = call_list(timeline, records, policy).families
        ranked = set(families.loc[families["rank"].notna(), "family_id"])
        home = timeline.lines[timeline.lines["at_home"]].drop_duplicates("family_id")
        for family, site in zip(home["family_id"], home["site"], strict=True):
            found[(pd.Timestamp(day), family)] = (site, family in ranked)
    return found


def test_many_mornings_list_the_families_of_each_morning(monkeypatch):
    chance = random.Random(8)
    again, seen, left_out, wanting = [], 0, 0, many_mornings.SideBySide.needing_all
    monkeypatch.setattr(turning_mornings, "MOST_ENTRIES", 3_000)
    monkeypatch.setattr(
        many_mornings.SideBySide,
        "needing_all",
        lambda few, first: again.append(wanting(few, first)) or again[-1],
    )
    replayed, unsure = [], many_mornings.Listed.unsure
    monkeypatch.setattr(
        many_mornings.Listed,
        "unsure",
        lambda listed, *flags: replayed.append(listed.replayed.mean()) or unsure(listed, *flags),
    )
    for turn in range(histories() // 50):
        monkeypatch.setattr(recent_entries, "SPARE", 3 * (turn % 2))
        monkeypatch.setattr(recent_entries, "FOR_PORTS", 1 + turn % 3)
        families = [messy_family(chance, f"f{i}", span=90) for i in range(38)]
        families = [often_changed(chance, family) for family in families[:20]] + [
            in_order(chance, family) for family in families[20:]
        ]
        history = received_by_and_by(chance, records_of(together(numbered_rows(chance, families))))
        policy = messy_policy(chance)
        editions = tuple(replace(e, settings=replace(e.settings, **FEW)) for e in policy.editions)
        zone = chance.choice(("UTC", "America/New_York", "Pacific/Auckland"))
        policy = replace(policy, editions=editions, time_zone=zone)
        table = to_call(history, policy, DAYS)
        rows = zip(
            table["morning"], table["family_id"], table["site"], table["to_call"], strict=True
        )
        assert {(m, f): (site, called) for m, f, site, called in rows} == one_by_one(
            history, policy
        )
        known = known_later(history, policy)
        pd.testing.assert_frame_equal(to_call(known, policy, DAYS), table)
        left_out += len(history.tables["home_log"].frame) - len(known.tables["home_log"].frame)
        seen += int(table["to_call"].sum())
    assert seen
    assert left_out
    assert any(len(families) for families in again)
    assert all(len(families) < 20 for families in again)
    assert max(replayed) < 0.9  # on other mornings a family's list is that of the morning before


def test_mornings_before_any_entry_and_any_line_are_replayed():
    draw = random.Random(1)
    lines = "line_id | home_from  | received_at\nL1 | 2031-03-01 | 2031-03-05T09:00"
    history = received_by_and_by(draw, written(lines=lines))
    table = to_call(history, shipped_policy(), DAYS)
    assert table["morning"].dt.day.tolist() == [6, 7, 8, 9]
    assert table["to_call"].all()  # no change of the dressing is known since the child came home
    assert to_call(history, shipped_policy(), DAYS[:1]).empty
    assert to_call(history, shipped_policy(), []).empty


def test_changes_of_a_line_that_ended_count_against_kits_counted_before_them():
    lines = """line_id | home_from  | removed_on | dressing_on | kit_delivery_days | received_at
L1 | 2031-01-01 | 2031-02-02 | 2031-01-03 | 80 | 2031-01-01T09:00
L2 | 2031-02-02 |            | 2031-02-02 | 80 | 2031-02-02T09:00"""
    changed = {
        "L1": ["2031-01-10", "2031-01-17", "2031-01-24", "2031-01-31"],
        "L2": ["2031-02-09", "2031-02-16", "2031-02-23", "2031-03-02", "2031-03-09"],
    }
    rows = [
        f"{line} | {day} | dressing_change | {8 if day == '2031-01-10' else ''} | {day}T20:00"
        for line, days in changed.items()
        for day in days
    ]
    log = "\n".join(["line_id | done_at | kind | kits_left | received_at", *rows])
    policy = shipped_policy()
    history = as_received(written(lines=lines, home_log=log))
    table = to_call(known_later(history, policy), policy, DAYS)
    assert table["to_call"].all()  # 7 of 8 kits are used before the first morning
    found = one_by_one(history, policy)
    assert [called for _, called in found.values()] == table["to_call"].tolist()
