"""Does dwell time hold at its edges: late starts, few events, families with several lines?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.measures.dwell import compare_dwell, dwell
from analysis.measures.overdue_hazard import overdue_hazard
from analysis.measures.snapshot_data import FoundOf
from analysis.verdicts import hazard_verdict, logrank_verdict
from analysis.vocabulary import Grouping
from tests.written import snapshot_of, written

HEAD = "line_id | child_id | family_id | site | placed_on | home_from | removed_on | removal_reason"


def lines(rows: list[tuple[str, str, int, int, int]]) -> str:
    """Family, site, days from placement to home and to removal, 0 for none, and number of it."""
    placed = pd.Timestamp("2029-01-01")
    text = [HEAD]
    for n, (family, site, home, removed, _) in enumerate(rows):
        gone = f"{placed + pd.Timedelta(days=removed):%Y-%m-%d} | occlusion" if removed else " | "
        text.append(
            f"L{n} | C{n} | {family} | {site} | {placed:%Y-%m-%d} "
            f"| {placed + pd.Timedelta(days=home):%Y-%m-%d} | {gone}"
        )
    return "\n".join(text)


def test_a_curve_that_starts_after_a_year_has_a_reading_and_a_mean():
    # Twelve lines come home 400 days after placement; six are removed within the next weeks.
    rows = [(f"F{n}", "north", 400, 410 + 5 * n if n < 6 else 0, n) for n in range(12)]
    seen = snapshot_of(written(lines=lines(rows)), "2030-12-01", "2030-12-01")
    found = dwell(seen.timeline, seen.records, Grouping.ALL).summary.iloc[0]
    assert found["start_day"] == 400
    # Followed to 1 December 2030, day 699: less than a year after the start.
    assert found["horizon"] == 699
    assert "50 %" in found["reading"]
    assert found["mean_days"] > 0


def test_a_hazard_ratio_needs_ten_unplanned_removals():
    rows = [(f"F{n}", "north", 0, 20 + n if n < 9 else 0, n) for n in range(30)]
    seen = snapshot_of(written(lines=lines(rows)), "2029-06-01", "2029-06-01")
    hazard = overdue_hazard(seen.timeline, seen.records)
    assert hazard["hazard_ratio"].isna().all()
    assert "9 lines ended unplanned: a hazard ratio needs at least 10." in (
        hazard_verdict(hazard).sentence
    )


def test_families_with_several_lines_are_the_units_of_the_log_rank_test():
    # Four lines a family that all end on one day: north's twelve families early, south's late.
    rng = np.random.default_rng(1)
    rows = []
    for n in range(24):
        site = "north" if n % 2 else "south"
        end = int(rng.integers(20, 60) + (0 if site == "north" else 8))
        rows += [(f"F{n}", site, 0, end, n)] * 4
    seen = snapshot_of(written(lines=lines(rows)), "2029-06-01", "2029-06-01")
    clustered = compare_dwell(seen.timeline, seen.records, Grouping.SITE, unplanned_only=False)
    alone = [row for at, row in enumerate(rows) if at % 4 == 0]
    single = snapshot_of(written(lines=lines(alone)), "2029-06-01", "2029-06-01")
    plain = compare_dwell(single.timeline, single.records, Grouping.SITE, unplanned_only=False)
    # Copies of the same ends tell no more than one of each.
    assert clustered["p"].iloc[0] == pytest.approx(plain["p"].iloc[0], abs=0.1)
    said = logrank_verdict(clustered, "any removal", Grouping.SITE).sentence
    assert said.startswith("Any removal, by site:")


def test_a_hazard_ratio_found_before_is_given_only_while_every_day_is_the_same():
    # Changed on 1 January, so out of date from day 7; a later change ends that for one line.
    rows = [(f"F{n}", "north", 0, 20 + n if n < 12 else 0, n) for n in range(30)]
    log = "line_id | done_at | kind | dressing_type\n"
    log += "\n".join(f"L{n} | 2029-01-01 | dressing_change | transparent" for n in range(0, 30, 2))
    known: FoundOf = {}
    ratios = []
    for day in (21, 23, 23, 25):
        logged = f"{log}\nL14 | 2029-01-{day} | dressing_change | transparent"
        seen = snapshot_of(written(lines=lines(rows), home_log=logged), "2029-02-01", "2029-02-01")
        found = overdue_hazard(seen.timeline, seen.records, known)
        pd.testing.assert_frame_equal(found, overdue_hazard(seen.timeline, seen.records))
        ratios.append(found["hazard_ratio"].item())
    assert len(set(ratios)) == 3
