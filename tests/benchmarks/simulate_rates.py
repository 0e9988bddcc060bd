"""How often limits hold the truth and how often charts and tests cry wolf, by simulation.

Run from the project's folder: ``python -m tests.benchmarks.simulate_rates``. Seeded: the same
figures every time. Every figure is a share of simulations; the error of one is about
sqrt(p (1 - p) / n), with n next to each table. A number after the
module's name is the share of the repeats. Nothing is asserted here; docstrings quote it.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterable

import numpy as np

from analysis.stats import charts, comparison, delays, dispersion, funnel, gaps, intervals
from analysis.stats.averaged_rates import average_rates
from analysis.stats.bootstrap import cluster_share_interval
from analysis.stats.change_point import change_point
from analysis.stats.charts import Rule
from analysis.stats.regression import clustered_rate_ratio, poisson_trend
from analysis.stats.shrinkage import fit_beta_binomial
from analysis.stats.standardised import standardised_ratio

MEANS = (0.5, 1, 2, 5, 10, 20, 50)
FRAILTY = 0.5
"""Shape of families' gamma-distributed rates where events cluster: a few have most events."""


def table(title: str, heads: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    """Print a title and aligned columns."""
    print(f"\n{title}")
    lines = [[str(h) for h in heads]]
    lines += [[f"{c:.3f}" if isinstance(c, float) else str(c) for c in row] for row in rows]
    widths = [max(len(line[i]) for line in lines) for i in range(len(lines[0]))]
    for line in lines:
        print("  " + "  ".join(c.rjust(w) for c, w in zip(line, widths, strict=True)))


def family_rates(rng: np.random.Generator, shape: tuple[int, ...], clustered: bool) -> np.ndarray:
    """Families' rates about 1."""
    return rng.gamma(FRAILTY, 1 / FRAILTY, shape) if clustered else np.ones(shape)


def holds(lower: np.ndarray, truth: object, upper: np.ndarray) -> float | str:
    """Share of intervals that hold the truth; none: hardly any are given."""
    given = ~np.isnan(lower) & ~np.isnan(upper)
    if given.mean() <= 0.25:
        return "none"
    return float(np.mean(((lower <= truth) & (truth <= upper))[given]))


def coverage_of_counts(n: int) -> None:
    """Limits of a rate when events are independent."""
    rng = np.random.default_rng(1)
    rows = []
    for mean in MEANS:
        events = rng.poisson(mean, n)
        rate = mean / 10
        row: list[object] = [mean]
        for function in (intervals.exact_rate_interval, intervals.midp_rate_interval):
            found = function(events, np.full(n, 10_000))
            row += [holds(found.lower, rate, found.upper)]
            row += [float(np.mean(found.upper < rate)), float(np.mean(found.lower > rate))]
        ratio = standardised_ratio(events, np.full(n, float(mean)))
        known = ~np.isnan(ratio.ratio)
        if known.any():
            row.append(holds(np.nan_to_num(ratio.lower[known]), 1.0, ratio.upper[known]))
        else:
            row.append("none")
        rows.append(row)
    heads = ["expected", "exact", "below", "above", "mid-P", "below", "above", "std. ratio"]
    table(f"Coverage of 95 % limits, independent events (n = {n})", heads, rows)


def coverage_of_clustered_rates(n: int) -> None:
    """Limits of a rate when a few families have most events."""
    rng = np.random.default_rng(2)
    rows = []
    for families in (5, 10, 30, 100):
        for mean in (2, 10, 50):
            row: list[object] = [families, mean]
            for clustered in (False, True):
                days = rng.integers(100, 500, (n, families))
                rate = mean / (300 * families)
                events = rng.poisson(rate * days * family_rates(rng, days.shape, clustered))
                plain = intervals.exact_rate_interval(events.sum(1), days.sum(1))
                wide = [
                    dispersion.clustered_rate_interval(x, d)
                    for x, d in zip(events, days, strict=True)
                ]
                lower = np.array([w.lower for w in wide])
                upper = np.array([w.upper for w in wide])
                row += [holds(plain.lower, 1000 * rate, plain.upper)]
                row += [holds(lower, 1000 * rate, upper)]
            rows.append(row)
    heads = ["families", "expected", "exact", "clustered", "exact, cl.", "clustered, cl."]
    table(f"Coverage of 95 % limits of a rate; cl.: events cluster (n = {n})", heads, rows)


def coverage_of_shares(n: int) -> None:
    """Limits of a share when a family's intervals are alike."""
    rng = np.random.default_rng(3)
    rows = []
    for families in (5, 8, 12, 20, 50, 200):
        for a, b in ((1.5, 1.5), (3.5, 1.5), (9.5, 0.5)):
            scored = 1 + rng.poisson(6, (n, families))
            on_time = rng.binomial(scored, rng.beta(a, b, scored.shape))
            group = np.repeat(np.arange(n), families)
            found = cluster_share_interval(on_time.ravel(), scored.ravel(), group)
            plain = intervals.exact_share_interval(on_time.sum(1), scored.sum(1))
            truth = a / (a + b)
            rows.append(
                [
                    families,
                    round(truth, 2),
                    holds(found.lower, truth, found.upper),
                    float(np.mean(found.upper < truth)),
                    float(np.mean(found.lower > truth)),
                    holds(plain.lower, truth, plain.upper),
                ]
            )
    heads = ["families", "share", "resampled", "below", "above", "as if independent"]
    table(f"Coverage of 95 % limits of a share (n = {n})", heads, rows)


def size_of_ratio_tests(n: int) -> None:
    """Share of equal rates called different at 5 %."""
    rng = np.random.default_rng(4)
    rows = []
    for families in (20, 50, 200):
        for mean in (5, 20, 80):
            row: list[object] = [families, mean]
            for clustered in (False, True):
                days = rng.integers(100, 500, (n, families))
                rate = 2 * mean / (300 * families)
                events = rng.poisson(rate * days * family_rates(rng, days.shape, clustered))
                first = np.arange(families) % 2 == 0
                sums = (
                    events[:, first].sum(1),
                    days[:, first].sum(1),
                    events[:, ~first].sum(1),
                    days[:, ~first].sum(1),
                )
                row.append(float(np.mean(comparison.exact_ratio_p(*sums) < 0.05)))
                row.append(float(np.mean(comparison.midp_ratio_p(*sums) < 0.05)))
                p = np.array(
                    [
                        clustered_rate_ratio(x, d, first, np.arange(families)).p
                        for x, d in zip(events, days, strict=True)
                    ]
                )
                given = ~np.isnan(p)
                row.append(float(np.mean(p[given] < 0.05)) if given.mean() > 0.05 else "none")
            rows.append(row)
    heads = ["families", "events each", "exact", "mid-P", "clustered"]
    heads += ["exact, cl.", "mid-P, cl.", "clustered, cl."]
    table(f"Equal rates called different at 5 %; cl.: events cluster (n = {n})", heads, rows)


def size_of_trend(n: int) -> None:
    """Share of steady rates called a trend at 5 %; families come and go."""
    rng = np.random.default_rng(5)
    rows = []
    for families in (20, 60, 200):
        for mean in (20, 80):
            row: list[object] = [families, mean]
            for clustered in (False, True):
                p = []
                for _ in range(n):
                    start = rng.integers(0, 12, families)
                    family = np.repeat(np.arange(families), 6)
                    month = np.repeat(start, 6) + np.tile(np.arange(6), families)
                    days = rng.integers(5, 32, month.size)
                    rate = mean / (18 * month.size)
                    frailty = np.repeat(family_rates(rng, (families,), clustered), 6)
                    events = rng.poisson(rate * days * frailty)
                    p.append(poisson_trend(events, days, month, family).p)
                given = np.array(p)[~np.isnan(p)]
                row.append(float(np.mean(given < 0.05)) if len(given) else "none")
                row.append(len(given) / n)
            rows.append(row)
    heads = ["families", "events", "trend", "limits given", "trend, cl.", "limits given"]
    table(f"Steady rates called a trend at 5 %; cl.: events cluster (n = {n})", heads, rows)


def runs_about_the_mean(chart: charts.UChart) -> bool:
    """Rule left out of the product: nine in a row on one side of the mean."""
    known = ~np.isnan(chart.rate_per_1000)
    return any(
        bool(charts.in_a_row(side, known).any())
        for side in (chart.rate_per_1000 > chart.centre, chart.rate_per_1000 < chart.centre)
    )


def beyond_three_sigma(
    events: np.ndarray, days: np.ndarray, baseline: int | None, later: slice
) -> bool:
    """The usual limits, centre plus and minus three standard deviations, left out of the product."""
    mean = days * events[:baseline].sum() / days[:baseline].sum()
    return bool((np.abs(events - mean) > 3 * np.sqrt(mean))[later].any())


def false_alarms_of_rules(n: int, months: int = 24) -> None:
    """Share of charts of a steady rate with at least one false signal in two years."""
    rng = np.random.default_rng(6)
    for frozen in (False, True):
        rows = []
        for mean in (0.25, *MEANS):
            hits = dict.fromkeys(["limits", "run", "two of three", "any", "sigma", "mean run"], 0)
            total = months + (12 if frozen else 0)
            for _ in range(n):
                days = rng.integers(700, 1300, total)
                events = rng.poisson(mean / 1000 * days)
                baseline = 12 if frozen else None
                later = slice(12 if frozen else 0, None)
                chart = charts.u_chart(events, days, baseline=baseline)
                found = {
                    name: any(bool(chart.signals[r][later].any()) for r in rules)
                    for name, rules in RULES.items()
                }
                found["any"] = any(found.values())
                found["sigma"] = beyond_three_sigma(events, days, baseline, later)
                found["mean run"] = runs_about_the_mean(chart)
                for name, hit in found.items():
                    hits[name] += hit
            rows.append([mean, *(hits[name] / n for name in hits)])
        where = "12 months frozen before them" if frozen else "their own centre"
        heads = ["expected a month", "exact limits", "run of 9", "two of three", "any of these"]
        heads += ["three sigma", "run about the mean"]
        table(f"Steady {months}-month charts with a false signal, {where} (n = {n})", heads, rows)


RULES = {
    "limits": (Rule.ABOVE_LIMIT, Rule.BELOW_LIMIT),
    "run": (Rule.RUN_ABOVE, Rule.RUN_BELOW),
    "two of three": (Rule.TWO_OF_THREE_HIGH, Rule.TWO_OF_THREE_LOW),
}


def power_of_rules(n: int) -> None:
    """Share of charts that see a doubled rate within 12 months after a frozen baseline."""
    rng = np.random.default_rng(7)
    rows = []
    for mean in (0.5, 1, 2, 5, 10):
        hits = dict.fromkeys(RULES, 0)
        for _ in range(n):
            days = rng.integers(700, 1300, 24)
            events = rng.poisson(mean / 1000 * days * np.repeat([1, 2], 12))
            chart = charts.u_chart(events, days, baseline=12)
            for name, rules in RULES.items():
                hits[name] += any(bool(chart.signals[r][12:].any()) for r in rules)
        rows.append([mean, *(hits[name] / n for name in hits)])
    heads = ["expected a month", *RULES]
    table(f"Doubled rates seen within 12 months (n = {n})", heads, rows)


def false_alarms_of_gap_charts(n: int) -> None:
    """Share of gaps of a steady process outside the limits."""
    rng = np.random.default_rng(8)
    rows = []
    for baseline in (5, 12, 30, 100):
        long = short = 0
        later = 12
        waits = 0
        for _ in range(n):
            exponential = rng.exponential(300, baseline + later)
            whole = rng.geometric(1 / 301, baseline + later) - 1
            chart = gaps.g_chart(whole, baseline=baseline)
            long += int(chart.signals[Rule.ABOVE_LIMIT][baseline:].sum())
            short += int(chart.signals[Rule.BELOW_LIMIT][baseline:].sum())
            wait = gaps.open_gap(exponential[-1], exponential[:baseline])
            waits += wait.p_as_long < 0.05
        each = n * later
        rows.append([baseline, f"{long / each:.5f}", f"{short / each:.5f}", waits / n])
    table(
        f"Gaps outside the limits (nominal .00135 a side); waits with p < .05 (n = {n})",
        ["baseline gaps", "g long", "g short", "waits"],
        rows,
    )


def change_points(n: int) -> None:
    """Size of the search test, and how often the likely months hold the step."""
    rng = np.random.default_rng(9)
    rows = []
    for mean in (0.5, 2, 5, 10):
        days = rng.integers(700, 1300, 24)
        steady = [
            change_point(rng.poisson(mean / 1000 * days), days, replicates=199) for _ in range(n)
        ]
        row: list[object] = [mean, float(np.mean([s.p <= 0.05 for s in steady]))]
        for factor in (2, 4):
            held, seen, size = 0, 0, 0
            for _ in range(n):
                step = int(rng.integers(1, 24))
                rate = mean / 1000 * np.where(np.arange(24) >= step, factor, 1)
                found = change_point(rng.poisson(rate * days), days, replicates=199)
                held += step in found.likely_periods
                seen += found.p <= 0.05
                size += len(found.likely_periods)
            row += [held / n, seen / n, size / n]
        rows.append(row)
    heads = ["expected a month", "false p <= .05"]
    for factor in (2, 4):
        heads += [f"x{factor} held", "p <= .05", "months"]
    table(f"Change point in 24 months; step anywhere (n = {n})", heads, rows)


def funnels(n: int, groups: int = 12) -> None:
    """Share of groups outside the 99.8 % limits, without and with ordinary differences."""
    rng = np.random.default_rng(10)
    rows = []
    for mean in (0.5, 2, 5, 20, 100):
        row: list[object] = [mean]
        for spread in (0.0, 0.3):
            outside = np.zeros(2)
            for _ in range(n):
                days = rng.integers(200, 1800, groups)
                true = rng.gamma(1 / spread**2, spread**2, groups) if spread else np.ones(groups)
                events = rng.poisson(mean / 1000 * days * true)
                for i, function in enumerate((funnel.funnel, funnel.overdispersed_funnel)):
                    f = function(events, days)
                    rates = f.rate_per_1000
                    outside[i] += np.mean((rates > f.upper_998) | (rates < f.lower_998))
            row += [f"{v / n:.4f}" for v in outside]
        rows.append(row)
    heads = ["expected a group", "exact", "overdispersed", "exact, differ", "overdispersed, differ"]
    table(f"Groups outside 99.8 % limits; differ: true SD 30 % (n = {n})", heads, rows)


def overdispersion_tests(n: int) -> None:
    """Size and power of the test of one rate."""
    rng = np.random.default_rng(11)
    rows = []
    for units in (12, 60):
        for mean in (0.2, 1, 5):
            days = rng.integers(50, 500, units)
            scale = mean * days / days.mean()
            row: list[object] = [units, mean]
            for clustered in (False, True):
                found = [
                    dispersion.overdispersion(
                        rng.poisson(scale * family_rates(rng, (units,), clustered)),
                        days,
                        replicates=199,
                    ).p
                    for _ in range(n)
                ]
                row.append(float(np.mean(np.array(found) <= 0.05)))
            rows.append(row)
    table(
        f"Overdispersion found at 5 % (n = {n})",
        ["units", "events each", "one rate", "cluster"],
        rows,
    )


def nowcasts(n: int) -> None:
    """Coverage of the nowcast of the last period, and size of the test of change."""
    rng = np.random.default_rng(12)
    rows = []
    for mean in (2, 10, 50):
        for batch in (1, 4):
            held = np.zeros(2)
            changed = known = 0
            for _ in range(n):
                reports = rng.poisson(mean / batch, 20)
                origin = np.repeat(np.arange(20), reports)
                delay = np.minimum(rng.geometric(0.5, origin.size) - 1, 5)
                came = origin + delay < 20
                triangle = delays.delay_triangle(origin[came], delay[came], origins=20, delays=6)
                triangle = delays.DelayTriangle(triangle.reports * batch, triangle.observable)
                found = delays.nowcast(triangle, replicates=500)
                truth = batch * reports
                for i, at in enumerate((-1, -2)):
                    held[i] += found.lower[at] <= truth[at] <= found.upper[at]
                p = delays.delay_change(triangle).p
                changed += p <= 0.05
                known += not math.isnan(p)
            rows.append([mean, batch, *(held / n).tolist(), changed / known])
    heads = ["reports a period", "batch of", "last held", "one before held", "false change"]
    table(f"Nowcasts of a steady delay, 95 % limits (n = {n})", heads, rows)


def shrunk_families(n: int) -> None:
    """Of families said to be above a limit with probability over 0.8, how many are?"""
    rng = np.random.default_rng(13)
    rows = []
    for families in (20, 60, 300):
        for days in (30, 180):
            for spread in (0.0, 1.0):
                tally = np.zeros((2, 4))
                size = np.full(families, days)
                weeks = np.full(families, days // 7)
                for _ in range(n):
                    true = rng.gamma(1, 1, families) if spread else np.ones(families)
                    events = rng.poisson(0.004 * true * days)
                    share = rng.beta(1, 4, families) if spread else np.full(families, 0.2)
                    late = rng.binomial(weeks, share)
                    for i, (p, bad) in enumerate(
                        (
                            (
                                average_rates(events, size).probability_above(0.008, events, size),
                                true > 2,
                            ),
                            (
                                fit_beta_binomial(late, weeks).probability_above(0.4, late, weeks),
                                share > 0.4,
                            ),
                        )
                    ):
                        high = p > 0.8
                        tally[i] += (high.any(), high.sum(), p[high].sum(), bad[high].sum())
                row: list[object] = [families, days, "differ" if spread else "alike"]
                for any_called, called, said, right in tally.tolist():
                    row += [any_called / n, said / max(called, 1), right / max(called, 1)]
                rows.append(row)
    heads = ["families", "days", "families", "averaged: any", "said", "true"]
    heads += ["share: any", "said", "true"]
    table(
        f"Programmes with any family called above a limit, probability over 0.8 (n = {n})",
        heads,
        rows,
    )


REPEATS: dict[Callable[[int], None], int] = {
    coverage_of_counts: 20_000,
    coverage_of_clustered_rates: 2000,
    coverage_of_shares: 1000,
    size_of_ratio_tests: 2000,
    size_of_trend: 1000,
    false_alarms_of_rules: 2000,
    power_of_rules: 2000,
    false_alarms_of_gap_charts: 4000,
    change_points: 400,
    funnels: 1000,
    overdispersion_tests: 300,
    nowcasts: 400,
    shrunk_families: 400,
}
"""Every simulation with its repeats."""


def main(share: float = 1.0) -> None:
    """Run every simulation, with a share of its repeats."""
    for simulation, repeats in REPEATS.items():
        simulation(max(20, round(share * repeats)))


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)
