"""Mean cumulative number of events that come again.

Data: serious infections of 128 people with chronic granulomatous disease under gamma interferon
or placebo, start and stop in days; file from the R package survival (data set ``cgd``).

Values computed, not printed anywhere: R 4.2, survival 3.5-3, cumulative hazard of
``survfit(Surv(tstart, tstop, status) ~ treat, id = id)``.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.stats.recurrent import cluster_squares, count_table, mean_count
from tests.printed import printed

DATA = Path(__file__).parent / "data" / "cgd.csv"
DAYS = [90, 180, 270, 360]


@pytest.fixture(scope="module")
def rows() -> list[dict[str, str]]:
    with DATA.open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    ("treatment", "values"),
    [
        ("placebo", [".215384615", ".407932569", ".738600845", "1.262657794"]),
        ("rIFN-g", [".031746032", ".127496160", ".254480207", ".332111786"]),
    ],
)
def test_mean_number_of_infections_is_that_of_r(
    rows: list[dict[str, str]], treatment: str, values: list[str]
) -> None:
    own = [row for row in rows if row["treat"] == treatment]
    start = [int(row["tstart"]) for row in own]
    stop = [int(row["tstop"]) for row in own]
    person = [int(row["id"]) for row in own]
    infected = [row for row in own if row["status"] == "1"]
    when = [int(row["tstop"]) for row in infected]
    who = [int(row["id"]) for row in infected]
    table = count_table(start, stop, when)
    squares = cluster_squares(table, start, stop, person, when, who)
    found = mean_count(table, squares, clusters=len(set(person)))
    for day, value in zip(DAYS, values, strict=True):
        assert found.mean[day] == printed(value)
    # Infections gather in some people: their errors exceed those of a Poisson process.
    poisson = np.sqrt(np.cumsum(found.events / np.maximum(found.at_risk, 1) ** 2))
    assert found.std_error[360] > poisson[360]
