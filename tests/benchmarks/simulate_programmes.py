"""What is claimed and what is measured, for programmes whose families differ and seasons change.

Run from the project's folder: ``python -m tests.benchmarks.simulate_programmes``. Seeded. It prints
one table: of each statistic the error rate it claims and the share of simulated steady programmes
in which it errs, for independent events, for families with gamma-distributed rates of shape 0.25,
and for a season of half the rate up and down. Nothing is asserted here.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from analysis.stats.charts import u_chart
from analysis.stats.clustered_logrank import clustered_logrank
from analysis.stats.day_gaps import GapRule, day_gap_chart
from analysis.stats.dispersion import (
    chart_dispersion,
    clustered_rate_interval,
    group_dispersion_of_families,
)
from analysis.stats.funnel import funnel
from analysis.stats.regression import clustered_rate_ratio
from analysis.stats.seasonal_trend import seasonal_trend
from tests.benchmarks.simulate_rates import table

KINDS = ("independent", "clustered", "seasonal", "both")
SHAPE, SEASON = 0.25, 0.5
MONTH, DWELL, FAMILIES_AT_ONCE = 30, 150, 60


@dataclass(frozen=True)
class Programme:
    """Events and line-days, shape (families, months); families come and go."""

    events: np.ndarray
    days: np.ndarray
    kind: str

    def cells(self) -> tuple[np.ndarray, ...]:
        """One row a family and month with line-days: events, days, family, month."""
        family, month = np.nonzero(self.days)
        return self.events[family, month], self.days[family, month], family, month


def programmes(
    kind: str, per_month: float, months: int, n: int, seed: int, families: int = FAMILIES_AT_ONCE
) -> Iterator[Programme]:
    """Steady programmes with so many events a month on average."""
    rng = np.random.default_rng([seed, KINDS.index(kind), round(10 * per_month)])
    total = months * MONTH
    for _ in range(n):
        count = int(families * (total + 3 * DWELL) / DWELL)
        start = rng.uniform(-3 * DWELL, total, count)
        end = start + rng.exponential(DWELL, count)
        edges = MONTH * np.arange(months + 1)
        days = np.minimum(end[:, None], edges[1:]) - np.maximum(start[:, None], edges[:-1])
        days = np.round(np.clip(days, 0, MONTH)).astype(np.int64)
        days = days[days.sum(axis=1) > 0]
        differ, seasons = kind in ("clustered", "both"), kind in ("seasonal", "both")
        rate = rng.gamma(SHAPE, 1 / SHAPE, len(days)) if differ else np.ones(len(days))
        turn = 2 * np.pi * (np.arange(months) / 12 + rng.random())
        season = 1 + SEASON * np.sin(turn) * seasons
        mean = per_month * months / days.sum() * days * rate[:, None] * season
        yield Programme(rng.poisson(mean), days, kind)


def share(holds: list[bool]) -> str:
    """Share in per cent."""
    return f"{100 * np.mean(holds):.1f} %" if holds else "none"


def chart_signals(found: Programme, baseline: int | None) -> bool:
    """Any signal of the chart in the two years after the baseline, or of all months."""
    events, days, family, month = found.cells()
    inside = month < (baseline or found.days.shape[1])
    spread = chart_dispersion(events[inside], days[inside], family[inside], month[inside])
    chart = u_chart(
        found.events.sum(axis=0),
        found.days.sum(axis=0),
        baseline=baseline,
        dispersion=spread.over(np.arange(found.days.shape[1]) < (baseline or found.days.shape[1])),
        centre_error=0.0 if baseline is None else spread.centre_error,
        independent=spread.independent,
    )
    return any(bool(broken[baseline or 0 :].any()) for broken in chart.signals.values())


def plain_chart_signals(found: Programme) -> bool:
    """The same by limits of independent events: what was claimed for every programme."""
    chart = u_chart(found.events.sum(axis=0), found.days.sum(axis=0), baseline=12)
    return any(bool(broken[12:].any()) for broken in chart.signals.values())


def halves(found: Programme) -> np.ndarray:
    """Families of a first and a second site, alike but for chance."""
    return np.arange(len(found.days)) % 2 == 0


def site_of(found: Programme) -> np.ndarray:
    """Families of six alike sites of unequal size."""
    return np.searchsorted(np.cumsum([0.3, 0.25, 0.2, 0.15, 0.07]), _even(len(found.days)))


def _even(count: int) -> np.ndarray:
    return (np.arange(count) * 0.6180339887498949) % 1.0


def funnel_names_one(found: Programme, *, adjusted: bool) -> bool:
    """A site outside the 99.8 % limits."""
    site = site_of(found)
    events, days = found.events.sum(axis=1), found.days.sum(axis=1)
    spread = group_dispersion_of_families(events, days, site)
    options = {"dispersion": spread.dispersion, "families": spread.families} if adjusted else {}
    limits = funnel(
        np.bincount(site, events).astype(int), np.bincount(site, days).astype(int), **options
    )
    rate = limits.rate_per_1000
    return bool(((rate > limits.upper_998) | (rate < limits.lower_998)).any())


def ratio_errs(found: Programme) -> bool | None:
    """Two alike halves called different; None: too few families."""
    events, days = found.events.sum(axis=1), found.days.sum(axis=1)
    p = clustered_rate_ratio(events, days, halves(found), np.arange(len(days))).p
    return None if np.isnan(p) else bool(p < 0.05)


def trend_errs(found: Programme) -> bool | None:
    """A steady rate called rising or falling."""
    events, days, family, month = found.cells()
    p = seasonal_trend(events, days, month, family, year=12).p
    return None if np.isnan(p) else bool(p < 0.05)


def interval_misses(found: Programme, per_month: float) -> bool | None:
    """The rate's limits leave out the true rate."""
    events, days = found.events.sum(axis=1), found.days.sum(axis=1)
    limits = clustered_rate_interval(events, days)
    if np.isnan(limits.lower):
        return None
    truth = 1000 * per_month * found.days.shape[1] / days.sum()
    return not limits.lower <= truth <= limits.upper


def known(found: Iterator[bool | None]) -> str:
    """Share of those that give an answer, and how many do."""
    answers = list(found)
    given = [a for a in answers if a is not None]
    return f"{share(given)} ({100 * len(given) / len(answers):.0f} % answered)"


def gap_signals(rate: float, n: int, rule: GapRule) -> str:
    """Gaps in whole days of a steady process outside the limit, own mean."""
    rng = np.random.default_rng([5, round(1000 * rate)])
    outside = total = 0
    for _ in range(n):
        day = np.sort(rng.integers(0, int(60 / rate), rng.poisson(60)))
        signals = day_gap_chart(np.diff(day), 1, 1).signals[rule]
        outside, total = outside + int(signals.sum()), total + len(signals)
    return f"{outside / total:.5f}"


def logrank_errs(n: int, shape: float | None, seed: int) -> str:
    """Two alike groups of 20 families with three lines each called different."""
    rng = np.random.default_rng(seed)
    errs: list[bool | None] = []
    family = np.repeat(np.arange(40), 3)
    for _ in range(n):
        rate = rng.gamma(shape, 1 / shape, 40)[family] if shape else np.ones(120)
        life = np.ceil(rng.exponential(90, 120) / np.maximum(rate, 1e-3)).clip(max=10_000)
        entry = rng.integers(0, 20, 120)
        seen = entry + rng.integers(10, 180, 120)
        leave = np.minimum(life, seen).astype(np.int64)
        timed = leave > entry
        p = clustered_logrank(
            entry[timed], leave[timed], (life <= seen)[timed], family[timed] % 2, family[timed]
        ).p
        errs.append(None if np.isnan(p) else bool(p < 0.05))
    return known(iter(errs))


def main(n: int = 200) -> None:
    """Print what each statistic claims, and what is measured."""
    rows: list[list[object]] = []

    def row(name: str, claimed: str, measure: Callable[[str, float], str]) -> None:
        for per_month in (2, 5, 12):
            measured = [measure(kind, per_month) for kind in KINDS]
            rows.append([name, per_month, claimed, *measured])

    def of(measure: Callable[[Programme], bool | None], months: int) -> Callable[[str, float], str]:
        return lambda kind, rate: known(measure(p) for p in programmes(kind, rate, months, n, 1))

    row(
        "chart, own centre, 24 months: any signal",
        "<= 5 %",
        of(lambda p: chart_signals(p, None), 24),
    )
    row(
        "chart, first year frozen, 24 later: any signal",
        "<= 12 %",
        of(lambda p: chart_signals(p, 12), 36),
    )
    row("  the same by limits of independent events", "-", of(plain_chart_signals, 36))
    row(
        "funnel of six alike sites: one outside 99.8 %",
        "<= 1.2 %",
        of(lambda p: funnel_names_one(p, adjusted=True), 24),
    )
    row(
        "  the same by limits of independent events",
        "-",
        of(lambda p: funnel_names_one(p, adjusted=False), 24),
    )
    row("two alike halves: p < 0.05", "5 %", of(ratio_errs, 24))
    row("steady trend: p < 0.05", "5 %", of(trend_errs, 24))
    row(
        "clustered limits of a rate: miss the truth", "5 %",
        lambda kind, rate: known(interval_misses(p, rate) for p in programmes(kind, rate, 24, n, 2)),
    )  # fmt: skip
    table(
        f"Claimed and measured error rates of steady programmes (n = {n})",
        ["statistic", "events a month", "claimed", *KINDS],
        rows,
    )
    table(
        f"Gaps in whole days outside a limit, own mean (n = {n} series of about 60)",
        ["events a day", "claimed", "too short", "long without event"],
        [
            [
                rate,
                "<= 0.00135",
                *(gap_signals(rate, n, r) for r in (GapRule.TOO_SHORT, GapRule.LONG_WITHOUT_EVENT)),
            ]
            for rate in (0.01, 0.05, 0.2, 0.5)
        ],
    )
    table(
        f"Log-rank test of two alike groups, 40 families with three lines (n = {3 * n})",
        ["claimed", "independent", "clustered, shape 0.25", "clustered, shape 1"],
        [["5 %", *(logrank_errs(3 * n, shape, 7) for shape in (None, 0.25, 1.0))]],
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
