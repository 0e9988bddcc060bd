"""Kaplan–Meier, median, restricted mean and log-rank against R.

Data: 119 dialysis catheters, months to exit-site infection; type 1 placed surgically, 2
through the skin. Klein & Moeschberger, Survival Analysis (1997), section 1.4; Nahman et al.,
J Am Soc Nephrol 3 (1992) 103; file from the R package KMsurv.

Values computed, not printed anywhere: R 4.2, survival 3.5-3,
``survfit(Surv(time, delta) ~ type, conf.type = "log-log")``, ``survdiff``, and
``summary(..., rmean = 20)``. The data are in half months, so days of the table are half months.
"""

import csv
from pathlib import Path

import pytest

from analysis.stats.day_table import DayTable, day_tables
from analysis.stats.logrank import logrank
from analysis.stats.survival import kaplan_meier, median_days, restricted_mean
from tests.printed import printed

DATA = Path(__file__).parent / "data" / "km_kidney.csv"


def half_months(month: float) -> int:
    assert float(2 * month).is_integer()
    return int(2 * month)


@pytest.fixture(scope="module")
def by_type() -> tuple[DayTable, ...]:
    with DATA.open() as file:
        rows = list(csv.DictReader(file))
    return day_tables(
        [0] * len(rows),
        [half_months(float(row["time"])) for row in rows],
        [int(row["delta"]) for row in rows],
        [int(row["type"]) - 1 for row in rows],
        n_causes=1,
        n_groups=2,
    )


def test_the_data_are_those_of_the_source(by_type: tuple[DayTable, ...]) -> None:
    assert [table.n_lines for table in by_type] == [43, 76]
    assert [int(table.removed.sum()) for table in by_type] == [15, 11]


def test_shares_of_surgical_catheters_are_those_of_r(by_type: tuple[DayTable, ...]) -> None:
    found = kaplan_meier(by_type[0]).at([half_months(m) for m in (5.5, 10.5, 15.5, 20.5)])
    for share, value in zip(
        found.survival, [".87216350", ".72762222", ".62472615", ".49978092"], strict=True
    ):
        assert share == printed(value)
    assert found.lower[-1] == printed(".27257193")
    assert found.upper[-1] == printed(".69067309")


def test_the_median_is_reached_and_its_upper_limit_is_not(by_type: tuple[DayTable, ...]) -> None:
    found = median_days(kaplan_meier(by_type[0]))
    assert (found.day, found.lower) == (half_months(18.5), half_months(11.5))
    assert found.upper is None


@pytest.mark.parametrize(
    ("group", "mean", "std_error"),
    [(0, "15.4653534348", "1.040167720"), (1, "16.9785478638", "0.837304583")],
)
def test_the_mean_over_twenty_months_is_that_of_r(
    by_type: tuple[DayTable, ...], group: int, mean: str, std_error: str
) -> None:
    found = restricted_mean(kaplan_meier(by_type[group]), half_months(20))
    assert found.days / 2 == printed(mean)
    assert found.std_error / 2 == printed(std_error)


def test_the_log_rank_test_is_that_of_r(by_type: tuple[DayTable, ...]) -> None:
    found = logrank(by_type)
    assert found.statistic == printed("2.52950631756")
    assert found.df == 1
    assert found.p == printed("0.111735169713")
    assert found.observed.sum() == pytest.approx(found.expected.sum(), abs=1e-12)
