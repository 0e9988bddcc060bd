"""How long do statistics with families as clusters take, and how does that grow?

Each is measured at 10,000 and 100,000 families: least processor time of runs taken in turns, and the
growth exponent between both sizes. Prints, asserts nothing:

    python -m tests.benchmarks.clustered
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from analysis.stats.cox import cox, split_at_periods
from analysis.stats.dispersion import (
    chart_dispersion,
    clustered_rate_interval,
    group_dispersion_of_families,
    overdispersion,
)
from analysis.stats.seasonal_trend import seasonal_trend
from tests.benchmarks.survival import lines
from tests.benchmarks.timeline import best

SIZES = (10_000, 100_000)
MONTHS = 36
RUNS = 2


def jobs(n_families: int, random: np.random.Generator) -> dict[str, Callable[[], object]]:
    """Each statistic of made-up families whose rates differ, one line or more each."""
    family = np.repeat(np.arange(n_families), 12)
    month = (random.integers(0, MONTHS - 12, n_families)[:, None] + np.arange(12)).ravel()
    days = random.integers(5, 32, len(family))
    rate = 0.004 * random.gamma(0.5, 2, n_families)
    events = random.poisson(rate[family] * days)
    of_family = np.bincount(family, events).astype(np.int64)
    days_of_family = np.bincount(family, days).astype(np.int64)
    site = random.integers(0, 40, n_families)
    entry, leave, cause, _ = lines(2 * n_families, random)
    period_line = np.repeat(np.arange(2 * n_families), 3)
    since = np.tile([20, 60, 120], 2 * n_families) + random.integers(0, 30, 6 * n_families)
    rows = split_at_periods(entry, leave, cause > 0, period_line, since, since + 3)
    exposed, cluster = rows.exposed[:, None].astype(float), rows.line // 2
    return {
        "overdispersion by 1,999 draws": lambda: overdispersion(of_family, days_of_family),
        "rate and its limits": lambda: clustered_rate_interval(of_family, days_of_family),
        "dispersion of a chart's months": lambda: chart_dispersion(events, days, family, month),
        "dispersion of a funnel's sites": lambda: group_dispersion_of_families(
            of_family, days_of_family, site
        ),
        "trend of months, errors clustered": lambda: seasonal_trend(
            events, days, month, family, year=12
        ),
        "Cox regression, errors clustered": lambda: cox(
            rows.start, rows.stop, rows.event, exposed, cluster
        ),
    }


if __name__ == "__main__":
    generator = np.random.default_rng(20310401)
    every = [jobs(n, generator) for n in SIZES]
    for name, small in every[0].items():
        times = best(small, every[1][name], runs=RUNS)
        shown = ", ".join(f"{n:,} families {t:.3f} s" for n, t in zip(SIZES, times, strict=True))
        print(f"{name}: {shown}; growth exponent {math.log10(times[1] / times[0]):.2f}", flush=True)
