"""How soon is a rise found, at which rate of false signals, and by which rule soonest?

Run from the project's folder: ``python -m tests.benchmarks.surveillance [file]``. Seeded, one core,
about 8 minutes; prints three tables, and writes them to the file. Nothing is asserted here.

1. Rules at the same rate of false signals: the largest statistic over all sites and the programme
   passes each rule's threshold in as many of the same steady programmes.
2. The rule in use, as the program applies it, against the monthly chart of the programme: rises of
   1.5, 2 and 3 times at one site, with 1, 3 and 10 events a month at each of 1, 3 and 20 sites, for
   independent events, families whose rates differ (gamma, shape 0.25) and a season of half the rate.
3. Steady programmes: the share with a false signal, stated and found.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.stats.charts import u_chart
from analysis.stats.dispersion import chart_dispersion
from analysis.stats.surveillance import (
    Calendar,
    Units,
    followed,
    largest_of,
    log_statistic,
    threshold,
)
from tests.benchmarks.surveillance_rules import ratio_cusum, scan, standardised_ewma

MONTHS, BASELINE, CHANGED = 35, 12, 15
STEPS = 4 * MONTHS
YEARS = (MONTHS - BASELINE) / 12
CHANCE = 1 - math.exp(-YEARS / 3)
FAMILIES, STAY = 30, 5.0
"""At home at once at a site; months that a line stays on average."""
CALENDAR = Calendar(np.arange(0, STEPS, 4), (np.arange(STEPS) % 48 + 0.5) / 48)
KINDS = ("independent", "clustered", "seasonal")
SITES, RATES, RATIOS = (1, 3, 20), (1, 3, 10), (1.5, 2.0, 3.0)


@dataclass(frozen=True)
class Programme:
    """One event: counts and line-days by family and step, and the site of each family."""

    events: np.ndarray
    days: np.ndarray
    site: np.ndarray
    sites: int

    @property
    def units(self) -> Units:
        """Ready to be followed."""
        return followed(self.events, self.days, self.site, self.sites, CALENDAR)


def programme(
    rng: np.random.Generator,
    sites: int,
    a_month: float,
    kind: str,
    ratio: float = 1.0,
    sizes: tuple[float, ...] | None = None,
) -> Programme:
    """A programme with so many events a month and site; the first site's rate rises.

    `sizes` are events a month of each site instead, by the number of its families.
    """
    if sizes is not None:
        sites, a_month = len(sizes), sum(sizes) / len(sizes)
    count = round(sites * FAMILIES * (MONTHS + 3 * STAY) / STAY)
    start = 4 * rng.uniform(-3 * STAY, MONTHS, count)
    end = start + 4 * rng.exponential(STAY, count)
    edge = np.arange(STEPS + 1)
    days = np.minimum(end[:, None], edge[1:]) - np.maximum(start[:, None], edge[:-1])
    days = np.rint(7.6 * np.clip(days, 0, 1)).astype(np.int64)
    days = days[days.sum(axis=1) > 0]
    share = None if sizes is None else np.array(sizes) / sum(sizes)
    site = rng.choice(sites, len(days), p=share)
    own = rng.gamma(0.25, 4, len(days)) if kind == "clustered" else np.ones(len(days))
    turn = 2 * np.pi * (np.arange(STEPS) / 48 + rng.random())
    season = 1 + 0.5 * np.sin(turn) * (kind == "seasonal")
    mean = a_month * sites * MONTHS / days.sum() * days * own[:, None] * season
    mean[site == 0] *= np.where(np.arange(STEPS) >= 4 * CHANGED, ratio, 1.0)
    return Programme(rng.poisson(mean), days, site, sites)


def months_until(passed: np.ndarray, first: int) -> float:
    """Months from the rise to the end of the first step passed, at or after a step; inf: never."""
    at = np.flatnonzero(passed[first:])
    return (at[0] + 1 + first) / 4 - CHANGED if len(at) else math.inf


def chart_months(found: Programme) -> float:
    """Months from the rise to the end of the first month that the programme's chart signals."""
    month = np.arange(STEPS) // 4
    family, step = np.nonzero(found.days)
    events, days, of = found.events[family, step], found.days[family, step], month[step]
    base = of < BASELINE
    spread = chart_dispersion(events[base], days[base], family[base], of[base])
    chart = u_chart(
        np.bincount(of, events).astype(int),
        np.bincount(of, days).astype(int),
        baseline=BASELINE,
        dispersion=spread.dispersion,
        centre_error=spread.centre_error,
        independent=spread.independent,
    )
    high = [rule for rule in chart.signals if rule.endswith(("above_limit", "run_above", "high"))]
    broken = np.any([chart.signals[rule] for rule in high], axis=0)
    at = np.flatnonzero(broken[CHANGED:])
    return float(at[0] + 1) if len(at) else math.inf


Rule = Callable[[Units], np.ndarray]


def _expected(units: Units) -> tuple[np.ndarray, np.ndarray]:
    """Counts and expected counts of what is followed, at the baseline's rate."""
    base = units.cells.in_baseline
    rate = np.where(base, units.events, 0).sum(axis=1) + 0.5
    rate = rate / np.where(base, units.cells.line_days, 0).sum(axis=1)
    first = 4 * BASELINE
    return units.events[:, first:], rate[:, None] * units.cells.line_days[:, first:]


RULES: dict[str, Rule] = {
    "Shiryaev-Roberts, exact (in use)": lambda u: log_statistic(u.cells, u.events)[
        :, 4 * BASELINE :
    ],
    "Poisson CUSUM, 2 times": lambda u: ratio_cusum(*_expected(u), 2.0),
    "Poisson EWMA, weight 0.05": lambda u: standardised_ewma(*_expected(u), 0.05),
    "scan over sites and windows": lambda u: scan(
        *_expected(u), np.arange(0, 4 * (MONTHS - BASELINE), 4)
    ),
}


EQUAL = ((1, 3), (3, 1), (3, 3), (3, 10), (20, 3))
UNEQUAL = ((1.0, 3.0, 10.0), (3.0, 1.0, 10.0), (3.0, *[0.3] * 12, *[3.0] * 6, 30.0))
"""Events a month of each site; the first one's rate rises."""


def compared(n: int) -> list[list[object]]:
    """Median delay of each rule, and the share found within a year, at one rate of false signals."""
    rows: list[list[object]] = []
    cases = [(f"{sites} of {a_month}", (sites, a_month), None) for sites, a_month in EQUAL]
    cases += [("1; 3; 10", (3, 1), UNEQUAL[0]), ("3; 1; 10", (3, 1), UNEQUAL[1])]
    cases += [("3; 12 of 0.3; 6 of 3; 30", (20, 1), UNEQUAL[2])]
    for name, (sites, a_month), sizes in cases:
        rng = np.random.default_rng([1, sites, a_month, len(sizes or ()), round((sizes or [0])[0])])
        made = [rng, sites, a_month, "independent"]
        calm = [programme(*made, sizes=sizes).units for _ in range(2 * n)]
        risen = {r: [programme(*made, r, sizes).units for _ in range(n)] for r in RATIOS}
        for rule_name, rule in RULES.items():
            limit = np.quantile([rule(u).max() for u in calm], 1 - CHANCE, method="higher")
            cells = []
            for ratio in RATIOS:
                waits = [
                    months_until((rule(u) >= limit)[0], 4 * (CHANGED - BASELINE))
                    for u in risen[ratio]
                ]
                # Steps of a rule count from the end of the baseline.
                cells.append(summary([wait + BASELINE for wait in waits]))
            rows.append([name, rule_name, *cells])
    return rows


def summary(delays: list[float]) -> str:
    """Median delay in months and the share found within a year."""
    found = np.mean([d <= 12 for d in delays])
    middle = float(np.median(delays))
    return f"{'never' if middle == math.inf else f'{middle:.1f}'} ({100 * found:.0f} %)"


def delays(n: int) -> list[list[object]]:
    """Delay of the rule in use and of the monthly chart."""
    rows: list[list[object]] = []
    for kind in KINDS:
        for sites in SITES:
            for a_month in RATES:
                cells: list[object] = []
                for ratio in RATIOS:
                    ours, chart = [], []
                    for k in range(n if sites < 20 else n // 2):
                        found = programme(
                            np.random.default_rng([2, k, sites, a_month]),
                            sites,
                            a_month,
                            kind,
                            ratio,
                        )
                        units = found.units
                        limit = threshold([largest_of(units, 0, replicates=100)], CHANCE).value
                        passed = log_statistic(units.cells, units.events)[0] >= limit
                        ours.append(months_until(passed, 4 * CHANGED))
                        chart.append(chart_months(found))
                    cells += [summary(ours), summary(chart)]
                rows.append([kind, sites, a_month, *cells])
    return rows


def false_signals(n: int) -> list[list[object]]:
    """Share of steady programmes with a false signal."""
    rows: list[list[object]] = []
    for kind in KINDS:
        for sites in (1, 3):
            hits = 0
            for k in range(n):
                units = programme(np.random.default_rng([3, k, sites]), sites, 3, kind).units
                limit = threshold([largest_of(units, 0, replicates=100)], CHANCE).value
                hits += bool((log_statistic(units.cells, units.events) >= limit).any())
            share = hits / n
            years = YEARS / -math.log(1 - share) if 0 < share < 1 else math.nan
            rows.append(
                [kind, sites, f"{100 * CHANCE:.0f} %", f"{100 * share:.0f} %", f"{years:.1f}"]
            )
    return rows


def text_of(title: str, heads: list[str], rows: list[list[object]]) -> str:
    """A table with aligned columns."""
    cells = [heads, *([str(c) for c in row] for row in rows)]
    width = [max(len(row[at]) for row in cells) for at in range(len(heads))]
    lines = ["  ".join(c.ljust(w) for c, w in zip(row, width, strict=True)) for row in cells]
    return "\n".join([title, "", *lines, ""])


def main(target: Path | None = None, n: int = 30) -> None:
    """Print the tables, and write them to a file."""
    of_ratio = [f"{r:g} times" for r in RATIOS]
    parts = []
    for title, heads, measure in (
        (
            f"Rules at the same rate of false signals (one in 3 years): median months to a signal at the site, and share found within 12 (n = {3 * n})",
            ["events a month of each site, the first rises", "rule", *of_ratio],
            lambda: compared(3 * n),
        ),
        (
            f"Rule in use and monthly chart of the programme: median months to a signal, and share found within 12 (n = {n}, 20 sites: {n // 2})",
            [
                "families",
                "sites",
                "events",
                *(f"{r}{of}" for r in of_ratio for of in ("", ", chart")),
            ],
            lambda: delays(n),
        ),
        (
            f"Steady programmes followed for {YEARS:.1f} years with a false signal (n = 200)",
            ["families", "sites", "stated", "found", "years to a false signal"],
            lambda: false_signals(200),
        ),
    ):
        parts.append(text_of(title, heads, measure()))
        print(parts[-1], flush=True)
    if target is not None:
        target.write_text("\n".join(parts), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
