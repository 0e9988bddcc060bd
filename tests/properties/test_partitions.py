"""Families calculated in parts, from files, give the bits of all families at once."""

from __future__ import annotations

import random
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from analysis.exports.catalogue import Table
from analysis.exports.folder import typed
from analysis.measures.adherence import adherence
from analysis.measures.dwell import dwell
from analysis.measures.lines import line_table
from analysis.measures.rates import rates
from analysis.partitions import (
    curves_of_parts,
    in_turn,
    lines_of_parts,
    tallies_of_parts,
    write_partitions,
)
from analysis.partitions.folder import read_part
from analysis.policy import Policy
from analysis.tables import KNOWN, Records
from analysis.tallies import tally
from analysis.timeline import build
from analysis.vocabulary import Basis, Grouping, Limits, Task
from tests.cases import cases
from tests.oracles.day_by_day import History
from tests.properties.strategies import AS_OF, messy_programmes, records_of, together

KNOWN_AT = datetime(2031, 6, 2, tzinfo=UTC)
CASES = cases(8, suppress_health_check=list(HealthCheck))


def mixed(families: list[History], chance: random.Random) -> list[History]:
    """Let some lines be of a child of another family, and some families move to another's code."""
    everyone = [line.child_id for family in families for line in family.lines]
    codes = [line.family_id for family in families for line in family.lines]
    found = []
    for family in families:
        lines = []
        for line in family.lines:
            child_id = chance.choice(everyone) if chance.random() < 0.2 else line.child_id
            earlier = tuple(
                replace(version, family_id=chance.choice(codes))
                if chance.random() < 0.2
                else version
                for version in line.earlier
            )
            lines.append(replace(line, child_id=child_id, earlier=earlier))
        found.append(replace(family, lines=tuple(lines)))
    return found


def log_blocks(records: Records, n_rows: int) -> list:
    """The log of records as blocks of some rows."""
    whole = typed(Table(KNOWN["home_log"], records.home_log))
    return [whole.slice(at, n_rows) for at in range(0, whole.num_rows, n_rows)]


@given(
    messy_programmes(max_families=5),
    st.integers(1, 4),
    st.integers(1, 30),
    st.randoms(use_true_random=False),
)
@CASES
def test_parts_from_files_equal_the_whole_to_the_bit(
    case: tuple[list[History], Policy], n_parts: int, block: int, chance: random.Random
) -> None:
    families, policy = case
    records = records_of(together(mixed(families, chance)))
    whole = build(records, policy, AS_OF)
    counted = tally(whole, policy)
    with tempfile.TemporaryDirectory() as folder:
        made = write_partitions(
            Path(folder) / "parts", records, log_blocks(records, block), [], KNOWN_AT, None, n_parts
        )
        parts = [read_part(part) for part in made.parts]
        tallies = tallies_of_parts(made, AS_OF, in_turn, policy=policy).value
        lines = lines_of_parts(made, AS_OF, in_turn, Task.DRESSING, policy=policy).value
        curves = curves_of_parts(made, AS_OF, in_turn, Grouping.SITE, policy=policy).value
    for name, frame in records.frames.items():
        assert sorted(row for p in parts for row in getattr(p, name)["row"]) == sorted(frame["row"])
    for name in ("lines", "days", "events", "onsets"):
        pd.testing.assert_frame_equal(getattr(tallies, name), getattr(counted, name), obj=name)
    pd.testing.assert_frame_equal(lines, line_table(whole, Task.DRESSING))
    at_once = dwell(whole, records, Grouping.SITE)
    pd.testing.assert_frame_equal(curves.curves, at_once.curves)
    pd.testing.assert_frame_equal(curves.summary, at_once.summary)
    how = ("skin", Grouping.SITE, Basis.LINE, Limits.EXACT)
    pd.testing.assert_frame_equal(rates(tallies, *how), rates(counted, *how))
    by = (Grouping.MONTH, Task.DRESSING)
    pd.testing.assert_frame_equal(adherence(tallies, *by), adherence(counted, *by))
