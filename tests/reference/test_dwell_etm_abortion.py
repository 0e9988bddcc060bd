"""Aalen–Johansen with delayed entry and many ends in one week.

Data: 1186 pregnancies, weeks; women come under observation late; the end is an induced abortion
(cause 1), a live birth (2) or a spontaneous abortion (3). Meister & Schaefer, Reproductive
Toxicology 26 (2008) 31; file from the R package etm (MIT).

Values: as printed in Allignol, "Computing cumulative incidence functions with the etmCIF
function", vignette of etm, cause 3 at the last week, control and exposed.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.stats.competing import aalen_johansen
from analysis.stats.day_table import DayTable, day_table, day_tables
from analysis.stats.logrank import logrank
from analysis.stats.survival import kaplan_meier
from tests.printed import printed

DATA = Path(__file__).parent / "data" / "etm_abortion.csv"
CONTROL, EXPOSED = 0, 1
SPONTANEOUS = 2  # column of cause 3


@pytest.fixture(scope="module")
def rows() -> dict[str, np.ndarray]:
    with DATA.open() as file:
        found = list(csv.DictReader(file))
    return {name: np.array([int(row[name]) for row in found]) for name in found[0]}


@pytest.fixture(scope="module")
def by_group(rows: dict[str, np.ndarray]) -> tuple[DayTable, ...]:
    return day_tables(
        rows["entry"], rows["exit"], rows["cause"], rows["group"], n_causes=3, n_groups=2
    )


@pytest.mark.parametrize(
    ("group", "share", "std_error", "lower", "upper"),
    [
        (CONTROL, ".16078139", ".021326113", ".12359648", ".20775707"),
        # The last digits of this upper limit could not be confirmed in the vignette: six used.
        (EXPOSED, ".3623231", ".04947340", ".27449870", ".467854"),
    ],
)
def test_share_of_spontaneous_ends_is_as_published(
    by_group: tuple[DayTable, ...], group: int, share: str, std_error: str, lower: str, upper: str
) -> None:
    found = aalen_johansen(by_group[group])
    assert found.share[-1, SPONTANEOUS] == printed(share)
    assert found.std_error[-1, SPONTANEOUS] == printed(std_error)
    assert found.lower[-1, SPONTANEOUS] == printed(lower)
    assert found.upper[-1, SPONTANEOUS] == printed(upper)


def test_shares_add_up_to_one_every_week(by_group: tuple[DayTable, ...]) -> None:
    assert len(by_group) == 2
    for table in by_group:
        found = aalen_johansen(table)
        np.testing.assert_allclose(found.survival + found.share.sum(axis=1), 1, rtol=0, atol=1e-12)


def test_one_minus_kaplan_meier_of_one_cause_overstates_it(rows: dict[str, np.ndarray]) -> None:
    """Identity of the trade: censoring the competing ends gives more than the true share."""
    spontaneous = day_table(rows["entry"], rows["exit"], rows["cause"] == 3, n_causes=1)
    every = day_table(rows["entry"], rows["exit"], rows["cause"], n_causes=3)
    naive = 1 - kaplan_meier(spontaneous).survival[-1]
    assert naive > aalen_johansen(every).share[-1, SPONTANEOUS] + 0.005


def test_overlooking_late_entry_gives_less_than_half_the_share(
    rows: dict[str, np.ndarray], by_group: tuple[DayTable, ...]
) -> None:
    """Women whose pregnancy ended before they could be seen are missing from crude shares."""
    control = rows["group"] == CONTROL
    crude = day_table(
        np.zeros(control.sum(), int), rows["exit"][control], rows["cause"][control], n_causes=3
    )
    found = aalen_johansen(crude).share[-1, SPONTANEOUS]
    assert found == pytest.approx(69 / 1013)
    assert found < aalen_johansen(by_group[CONTROL]).share[-1, SPONTANEOUS] / 2


def test_overlooking_late_entry_changes_the_log_rank_test(
    rows: dict[str, np.ndarray], by_group: tuple[DayTable, ...]
) -> None:
    crude = day_tables(
        rows["entry"] * 0, rows["exit"], rows["cause"], rows["group"], n_causes=3, n_groups=2
    )
    right, wrong = logrank(by_group, cause=3), logrank(crude, cause=3)
    assert abs(right.statistic - wrong.statistic) > 1
    np.testing.assert_array_equal(right.observed, wrong.observed)
