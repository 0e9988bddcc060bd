"""A snapshot that follows another one has the bits of one that is read from nothing.

Files, corrections, withdrawals, voided entries, calls and moved families come in at random; children
share families, entries name lines that are not known yet, rows come late and days pass.
"""

from __future__ import annotations

import csv
import random
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.ingest import ingest
from analysis.measures.completeness import provisional_rates
from analysis.measures.dwell import curves_of, line_times
from analysis.measures.overdue_hazard import overdue_hazard
from analysis.measures.surveillance import SKIN, surveillance
from analysis.policy import shipped_policy
from analysis.snapshot import Snapshot, end_of_day, of_sites, save, take
from analysis.store import Store
from analysis.tables.linked import Linked
from analysis.vocabulary import Basis, CallOutcome, Grouping
from dashboard.session.frames import of
from dashboard.session.loaded import OWNER_CODES, LoadedSnapshot
from dashboard.session.snapshots import SnapshotCache
from tests.cases import histories
from tests.properties.strategies import TIMELINE_FRAMES

NORTH = frozenset({"North"})
FIRST = date(2031, 3, 4)
STEPS = 8
PARTS = {
    "timeline": TIMELINE_FRAMES,
    "counted_timeline": ("lines", "intervals", "care"),
    "tallies": ("lines", "days", "events", "onsets"),
    "calls": ("families", "reasons", "evidence"),
}


def some_rows(chance: random.Random, table: str, today: date) -> list[dict[str, Any]]:
    """A few rows of a table; codes recur, so that many correct an earlier row or link families."""

    def day(most: int) -> date:
        return today - timedelta(days=chance.randrange(most))

    family, line = f"F{chance.randrange(5)}", f"L{chance.randrange(7)}"
    child, carer = f"C{chance.randrange(5)}", f"K{chance.randrange(4)}"
    # Most lines stay with one child and family.
    own = {"child_id": f"C{int(line[1]) % 5}", "family_id": f"F{int(line[1]) % 5}"}
    if chance.random() < 0.2:
        own = {"child_id": child, "family_id": family}
    rows: dict[str, dict[str, Any]] = {
        "lines": {
            "line_id": line,
            **own,
            "site": chance.choice(("North", "North", "South")),
            "nurse": chance.choice(("N1", "N2")),
            "line_type": chance.choice(("picc", "implanted_port")),
            "placed_on": today - timedelta(days=60),
            "home_from": today - timedelta(days=50),
            "removed_on": chance.choice(("", "", "", day(20))),
            "dressing_type": chance.choice(("transparent", "gauze")),
            "valid_from": chance.choice(("", day(30))),
        },
        "stays": {"child_id": child, "from_on": day(40), "to_on": today},
        "caregivers": {"caregiver_id": carer, "family_id": family},
        "sign_offs": {
            "caregiver_id": carer,
            "skill": "dressing_change",
            "signed_on": day(50),
            "outcome": chance.choice(("independent", "not_yet")),
        },
        "outcomes": {
            "child_id": f"C{int(line[1]) % 5}",
            "line_id": line,
            "outcome": "bloodstream_infection",
            "onset_on": day(40),
        },
        "home_log": {
            "entry_id": chance.choice(("", f"e{chance.randrange(20)}")),
            "line_id": line,
            "family_id": chance.choice(("", "", family)),
            "caregiver_id": chance.choice(("", carer)),
            "done_at": day(45),
            "kind": chance.choice(("dressing_change", "skin_check", "port_accessed", "flush")),
            "findings": chance.choice(("none", "redness", "fever", "")),
            "kits_left": chance.choice(("", 0, 3)),
            "steps_missed": ("", "none", "mask")[int(carer[1]) % 3],
        },
    }
    return [rows[table]]


def file_of(folder: Path, table: str, rows: list[dict[str, Any]]) -> Path:
    path = folder / f"{table}.csv"
    with path.open("w", newline="") as out:
        writer = csv.DictWriter(out, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def something_happens(store: Store, folder: Path, chance: random.Random, at: datetime) -> None:
    """A file, a call or a voided entry."""
    log = store.records().home_log
    unnumbered = log.loc[log["entry_id"].isna(), "row"].tolist()
    what = chance.randrange(10)
    if what == 0:
        store.record_call(f"F{chance.randrange(5)}", "N1", CallOutcome.REACHED, "", at.date(), at)
    elif what == 1 and unnumbered:
        store.void_entry(int(chance.choice(unnumbered)), "N1", at)
    else:
        tables = ("lines", "stays", "caregivers", "sign_offs", "outcomes", *["home_log"] * 8)
        table = chance.choice(tables)
        rows = [row for _ in range(3) for row in some_rows(chance, table, at.date())]
        late = chance.choice((timedelta(), timedelta(), timedelta(days=2)))
        path = file_of(folder, table, rows)
        ingest(store, [path], shipped_policy(), received_at=at - late, ingested_at=at)


def from_nothing(store: Store, day: date) -> Snapshot:
    """A snapshot for which every row is read."""
    policy = shipped_policy()
    known_at = end_of_day(day, policy)
    return Snapshot(day, known_at, policy, store.records(known_at), store.ingests())


def assert_same(
    found: Snapshot, whole: Snapshot, *, practice: bool = True, measured: bool = True
) -> None:
    """Every frame of both, and what no frame holds.

    `practice`: also occasions, which few pages need. `measured`: also what is measured of the frames.
    """
    for name, frame in whole.records.frames.items():
        pd.testing.assert_frame_equal(getattr(found.records, name), frame, obj=name)
    assert found.records.links == whole.records.links
    assert found.records.not_yet_known == whole.records.not_yet_known
    assert found.caveats == whole.caveats
    for name in ("reasons", "evidence"):
        pair = (getattr(each.care_reasons, name) for each in (found, whole))
        pd.testing.assert_frame_equal(*pair, obj=f"care_reasons.{name}")
    if practice:
        family = f"F{len(whole.records.home_log) % 5}"  # of one family before that of all
        pd.testing.assert_frame_equal(
            found.retraining_of(family), of(whole.retraining, "family_id", family)
        )
        pd.testing.assert_frame_equal(found.retraining, whole.retraining)
        pd.testing.assert_frame_equal(found.practice, whole.practice)
    for part, names in PARTS.items():
        for name in names:
            pair = (getattr(getattr(each, part), name) for each in (found, whole))
            pd.testing.assert_frame_equal(*pair, obj=f"{part}.{name}")
    if not measured:
        return
    followed = [surveillance(each) for each in (found, whole)]
    assert repr(followed[0].rates) == repr(followed[1].rates)
    assert followed[0].threshold.largest.tobytes() == followed[1].threshold.largest.tobytes()
    pair = (provisional_rates(each, SKIN, Grouping.MONTH, Basis.LINE) for each in (found, whole))
    pd.testing.assert_frame_equal(*pair, obj="provisional rates")
    pair = (overdue_hazard(s.timeline, s.records, s.found_of) for s in (found, whole))
    pd.testing.assert_frame_equal(*pair, obj="hazard")
    curves = [
        curves_of(
            line_times(s.counted_timeline, s.counted_records, Grouping.SITE, s.sites), s.found_of
        )
        for s in (found, whole)
    ]
    pd.testing.assert_frame_equal(*(each.summary for each in curves), obj="dwell")
    pd.testing.assert_frame_equal(*(each.curves for each in curves), obj="dwell curves")


@pytest.fixture(autouse=True)
def _few_removals_are_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few lines end here: their hazard ratio is estimated all the same."""
    monkeypatch.setattr("analysis.measures.overdue_hazard.FEWEST_EVENTS", 1)


@pytest.mark.hypothesis
@pytest.mark.parametrize("seed", range(1, 1 + histories(fixed=1, long=6)))
def test_each_next_snapshot_equals_one_read_from_nothing(tmp_path: Path, seed: int) -> None:
    chance = random.Random(seed)
    at = datetime.combine(FIRST, datetime.min.time(), tzinfo=UTC) + timedelta(hours=5)
    policy, followed = shipped_policy(), 0
    with Store.open(f"sqlite:///{tmp_path}/store.sqlite") as store:
        rows = [row for _ in range(12) for row in some_rows(chance, "lines", FIRST)]
        ingest(store, [file_of(tmp_path, "lines", rows)], policy, received_at=at, ingested_at=at)
        cache = SnapshotCache(store, policy, None)
        for step in range(STEPS):
            at += timedelta(minutes=1)
            something_happens(store, tmp_path, chance, at)
            day = FIRST + timedelta(days=step // 4)
            generation = cache.get(day, fresh=True)
            whole = from_nothing(store, day)
            practice = step % 3 != 1  # else the next one follows the occasions of the one before
            north = generation.of(NORTH).snapshot
            # Now the measures of a site, now those of all.
            for of_one in (True, False):
                pair = (
                    (north, of_sites(whole, NORTH))
                    if of_one
                    else (generation.whole.snapshot, whole)
                )
                assert_same(*pair, practice=practice, measured=of_one == bool(step % 2))
            again = LoadedSnapshot(whole)
            for name, code in OWNER_CODES.items():
                for value in getattr(whole.records, name)[code].dropna().unique():
                    pair = (loaded.by[name][value] for loaded in (generation.whole, again))
                    pd.testing.assert_frame_equal(*pair, obj=f"{name} of {value}")
            changed = generation.whole.snapshot.changed
            followed += changed is not None and changed != Linked()
    assert followed >= STEPS // 3


def test_after_a_deletion_everything_is_read_again(tmp_path: Path) -> None:
    chance, policy = random.Random(3), shipped_policy()
    at = datetime.combine(FIRST, datetime.min.time(), tzinfo=UTC) + timedelta(hours=5)
    with Store.open(f"sqlite:///{tmp_path}/store.sqlite") as store:
        rows = [row for _ in range(9) for row in some_rows(chance, "lines", FIRST)]
        ingest(store, [file_of(tmp_path, "lines", rows)], policy, received_at=at, ingested_at=at)
        before = take(store, policy, FIRST)
        assert store.added(before.records, before.known_at) is not None
        family = str(before.records.lines["family_id"].iloc[0])
        store.delete_family(family, "N1", "asked", at, shared=True)
        assert store.added(before.records, before.known_at) is None


def test_a_snapshot_made_from_what_was_saved_equals_one_read_from_nothing(
    tmp_path: Path,
) -> None:
    chance, policy, used, steps = random.Random(4), shipped_policy(), 0, 3
    at = datetime.combine(FIRST, datetime.min.time(), tzinfo=UTC) + timedelta(hours=5)
    with Store.open(f"sqlite:///{tmp_path}/store.sqlite") as store:
        rows = [row for _ in range(12) for row in some_rows(chance, "lines", FIRST)]
        ingest(store, [file_of(tmp_path, "lines", rows)], policy, received_at=at, ingested_at=at)
        for step in range(steps):
            at += timedelta(minutes=1)
            something_happens(store, tmp_path, chance, at)
            day = FIRST + timedelta(days=step // 2)
            found = take(store, policy, day)
            used += found.changed is not None
            whole = from_nothing(store, day)
            assert_same(found, whole)
            save(found, store)
            again = take(store, policy, day)
            assert {"timeline", "counted_tallies", "care_reasons", "retraining"} <= vars(
                again
            ).keys()
            pd.testing.assert_frame_equal(again.retraining, whole.retraining)
            assert_same(again, whole)
    assert used == steps - 1
