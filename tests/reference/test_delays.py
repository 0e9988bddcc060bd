"""Late reports against values from outside."""

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.stats.delays import DelayTriangle, delay_change, delay_distribution, nowcast

DATA = Path(__file__).parent / "data" / "boot_aids_delay.csv"


@pytest.fixture(scope="module")
def aids_reports() -> DelayTriangle:
    with DATA.open() as file:
        rows = list(csv.DictReader(file))
    quarters, delays = 38, 15
    dud = np.array([row["dud"] == "1" for row in rows]).reshape(quarters, delays)
    reports = np.array([int(row["y"]) for row in rows]).reshape(quarters, delays)
    # Rows marked as not yet observable hold what had come in part of a quarter.
    return DelayTriangle(np.where(dud, 0, reports), ~dud)


def test_nowcasts_of_the_last_quarters_are_those_of_a_poisson_regression(
    aids_reports: DelayTriangle,
):
    # Computed, not printed: R 4.2, glm(y ~ factor(time) + factor(delay), poisson) without the rows
    # marked dud; data of Davison & Hinkley, Bootstrap Methods and their Application (1997).
    found = nowcast(aids_reports)
    assert found.observed[-4:].tolist() == [305, 312, 257, 67]
    assert found.expected_total[-4:] == pytest.approx(
        [389.522915, 440.970588, 440.052837, 436.562318], rel=2e-9
    )
    assert (found.lower[-4:] < found.expected_total[-4:]).all()
    assert (found.upper[-4:] > found.expected_total[-4:]).all()


def test_halving_delays_have_halving_incompleteness():
    # Analytic: geometric delays, half of the rest each period, 1024 reports an origin, 7 origins.
    reports = [512, 256, 128, 64, 32, 16, 16]
    observable = np.add.outer(np.arange(7), np.arange(7)) < 7
    triangle = DelayTriangle(np.where(observable, reports, 0), observable)
    share = delay_distribution(triangle).share_within
    assert share.tolist() == [0.5, 0.75, 0.875, 0.9375, 0.96875, 0.984375, 1.0]
    found = nowcast(triangle)
    assert found.completeness.tolist() == share[::-1].tolist()
    assert found.expected_total.tolist() == [1024.0] * 7
    change = delay_change(triangle)
    assert change.z == pytest.approx(0.0, abs=1e-12)
    assert change.p == pytest.approx(1.0)
