"""After some rows changed, what is computed of their families alone gives the bits of the whole."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from analysis.policy import Policy
from analysis.tables import Records
from analysis.tables.linked import Linked, linked_with, records_of_linked
from analysis.tallies import tally
from analysis.tallies.renewed import renewed as renewed_tallies
from analysis.timeline import build
from analysis.timeline.renewed import renewed as renewed_timeline
from tests.cases import cases
from tests.oracles.day_by_day import History
from tests.properties.strategies import (
    AS_OF,
    TIMELINE_FRAMES,
    messy_programmes,
    records_of,
    together,
)
from tests.properties.test_partitions import mixed

CASES = cases(20, suppress_health_check=list(HealthCheck))
TABLES = ("lines", "stays", "home_log", "outcomes", "earlier_lines")


def changed_rows(records: Records, chance: random.Random) -> tuple[Records, Linked]:
    """The records without some rows and with some that were changed, and who is in these."""
    frames, moved = {}, []
    for name in TABLES:
        frame = getattr(records, name)
        share = chance.choice((0, 0, 0.1, 0.5))
        touched = np.array([chance.random() < share for _ in range(len(frame))], dtype=bool)
        goes = touched & np.array([chance.random() < 0.5 for _ in range(len(frame))], dtype=bool)
        other = frame[touched & ~goes]
        if len(other) and name == "home_log":
            other = other.assign(done_on=other["done_on"] + pd.Timedelta(days=2))
        elif len(other) and name == "lines":
            other = other.assign(site="elsewhere", family_id=frame["family_id"].iloc[0])
        moved += [frame[touched], other]
        frames[name] = pd.concat([frame[~touched], other]).sort_values("row", ignore_index=True)
    return replace(records, **frames), Linked.named_in(moved)


@given(messy_programmes(max_families=6), st.randoms(use_true_random=False))
@CASES
def test_what_changed_families_change_equals_the_whole_to_the_bit(
    case: tuple[list[History], Policy], chance: random.Random
) -> None:
    families, policy = case
    records = records_of(together(mixed(families, chance)))
    other, changed = changed_rows(records, chance)
    for before, now in ((records, other), (other, records)):
        linked = linked_with(changed, before, now, 1000)
        assert linked is not None
        earlier, whole = build(before, policy, AS_OF), build(now, policy, AS_OF)
        own = build(records_of_linked(now, linked), policy, AS_OF)
        found = renewed_timeline(earlier, own, linked, now, policy)
        assert found is not None
        for name in TIMELINE_FRAMES:
            pd.testing.assert_frame_equal(getattr(found, name), getattr(whole, name), obj=name)
        tallied = renewed_tallies(tally(earlier, policy), own, linked, found, policy)
        counted = tally(whole, policy)
        assert tallied is not None
        for name in ("lines", "days", "events", "onsets"):
            pd.testing.assert_frame_equal(getattr(tallied, name), getattr(counted, name), obj=name)
