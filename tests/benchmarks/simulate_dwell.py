"""How far can curves, tests and errors of dwell time be trusted at a clinic's numbers?

Repeated made-up programmes with a known truth: how often do 95 % limits hold it, and how often
does a test at 5 % cry wolf? Seeded; prints, asserts nothing. About three minutes:

    python -m tests.benchmarks.simulate_dwell [repeats]

Monte Carlo error of a share near 0.95 or 0.05 is 0.007 at 1000 repeats.
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.stats.competing import aalen_johansen
from analysis.stats.cox import NoEstimateError, cox
from analysis.stats.curve_limits import normal_quantile
from analysis.stats.day_table import DayTable, Ints, day_table, day_tables, has_time
from analysis.stats.logrank import logrank
from analysis.stats.recurrent import cluster_squares, count_table, mean_count
from analysis.stats.survival import kaplan_meier, restricted_mean, start_when

Random = np.random.Generator
SEED = 20310401
HAZARD = {1: 0.006, 2: 0.005, 3: 0.0005}
"""Daily chance of an unplanned removal, a planned one, a death."""
DAY = 60


@dataclass(frozen=True)
class Programme:
    """One made-up programme: a line each element."""

    entry: Ints
    leave: Ints
    cause: Ints
    group: Ints
    family: Ints


def programme(
    random: Random,
    n_lines: int,
    *,
    entry_days: tuple[int, ...] = (21,),
    lines_a_family: int = 1,
    spread: float = 0.0,
    groups_by_family: bool = True,
    follow_up: int = 120,
) -> Programme:
    """Draw lines that came home with the line in place.

    `entry_days` has one number a group: home-coming is uniform on 0 to that many days after
    placement. Families multiply all hazards by a gamma factor of mean 1 and variance `spread`.
    Those that end before home-coming are never seen, as in life. Follow-up from home-coming is
    uniform from a week to `follow_up` days.
    """
    n_families = -(-n_lines // lines_a_family)
    n_groups = len(entry_days)
    columns: list[list[npt.NDArray[np.int64]]] = [[], [], [], [], []]
    family_factor = random.gamma(1 / spread, spread, n_families) if spread else np.ones(n_families)
    family = np.repeat(np.arange(n_families), lines_a_family)[:n_lines]
    group = family % n_groups if groups_by_family else np.arange(n_lines) % n_groups
    waiting = np.arange(n_lines)
    total = sum(HAZARD.values())
    shares = np.array(list(HAZARD.values())) / total
    while len(waiting):
        factor = family_factor[family[waiting]]
        entry = random.integers(0, np.array(entry_days)[group[waiting]] + 1)
        end = random.geometric(np.clip(total * factor, 1e-9, 0.9))
        cause = random.choice(list(HAZARD), len(waiting), p=shares)
        censored = entry + random.integers(7, follow_up + 1, len(waiting))
        leave = np.minimum(end, censored)
        cause[end > censored] = 0
        seen = leave >= entry
        for column, values in zip(
            columns, (entry, leave, cause, group[waiting], family[waiting]), strict=True
        ):
            column.append(values[seen])
        waiting = waiting[~seen]
    drawn = Programme(*(np.concatenate(column) for column in columns))
    kept = has_time(drawn.entry, drawn.leave)
    return Programme(*(getattr(drawn, name)[kept] for name in drawn.__dataclass_fields__))


def table_of(drawn: Programme) -> DayTable:
    """Day table of the whole programme."""
    return day_table(drawn.entry, drawn.leave, drawn.cause, n_causes=3)


def truth(cause: int | None, days: int) -> float:
    """Share in place (no cause) or ended by the cause after so many days, without families."""
    total = sum(HAZARD.values())
    stay = (1 - total) ** days
    return stay if cause is None else HAZARD[cause] / total * (1 - stay)


def coverage_of_curves(random: Random, repeats: int, n_lines: int) -> None:
    """Limits of the share in place, the mean and the share ended unplanned at one day."""
    z = normal_quantile(0.95)
    names = (
        "in place",
        "in place, normal",
        "mean",
        "mean, normal",
        "unplanned",
        "unplanned, normal",
        "death",
    )
    held = dict.fromkeys(names, 0)
    usable = without_event = early_zero = 0
    for _ in range(repeats):
        table = table_of(programme(random, n_lines))
        early_zero += bool(kaplan_meier(table).at(min(14, table.last_day)).survival[0] == 0)
        start = start_when(table, min_at_risk=min(10, n_lines // 2))
        if start is None or table.last_day <= DAY:
            continue
        usable += 1
        ahead = DAY - start
        curve = kaplan_meier(table, start=start)
        row = curve.at(DAY)
        stay = truth(None, ahead)
        held["in place"] += bool(row.lower[0] <= stay <= row.upper[0])
        width = z * np.nan_to_num(row.std_error[0])
        held["in place, normal"] += bool(abs(row.survival[0] - stay) <= width)
        mean = restricted_mean(curve, DAY)
        days = sum(truth(None, d) for d in range(ahead))
        held["mean"] += bool(mean.lower <= days <= mean.upper)
        held["mean, normal"] += bool(abs(mean.days - days) <= z * np.nan_to_num(mean.std_error))
        found = aalen_johansen(table, start=start).at(DAY)
        for name, cause in (("unplanned", 1), ("death", 3)):
            held[name] += bool(
                found.lower[0, cause - 1] <= truth(cause, ahead) <= found.upper[0, cause - 1]
            )
        without_event += bool(found.share[0, 2] == 0)
        width = z * found.std_error[0, 0]
        held["unplanned, normal"] += bool(abs(found.share[0, 0] - truth(1, ahead)) <= width)
    shares = "  ".join(f"{name} {count / usable:.3f}" for name, count in held.items())
    print(f"{n_lines:4d} lines: {shares}")
    print(
        f"            no death seen {without_event / usable:.2f}; followed to day {DAY} in "
        f"{usable / repeats:.2f}; curve from day 0 already zero by day 14 in "
        f"{early_zero / repeats:.3f}"
    )


def coverage_with_families(random: Random, repeats: int, n_lines: int, per_family: int) -> None:
    """Limits of the share in place when lines of a family end together."""
    spread = 1.0
    many = table_of(programme(random, 400_000, lines_a_family=per_family, spread=spread))
    start = 14
    stay = float(kaplan_meier(many, start=start).at(DAY).survival[0])
    held = usable = 0
    for _ in range(repeats):
        table = table_of(programme(random, n_lines, lines_a_family=per_family, spread=spread))
        if table.last_day <= DAY:
            continue
        usable += 1
        row = kaplan_meier(table, start=start).at(DAY)
        held += bool(row.lower[0] <= stay <= row.upper[0])
    print(f"{n_lines:4d} lines, {per_family} a family: in place {held / usable:.3f}")


def cries_wolf(drawn: Programme, entry: Ints, cause: int | None = None) -> bool:
    """The log-rank test with these entries finds a difference at 5 %."""
    tables = day_tables(
        entry,
        drawn.leave,
        drawn.cause,
        drawn.group,
        n_causes=3,
        n_groups=int(drawn.group.max()) + 1,
    )
    return bool(logrank(tables, cause=cause).p < 0.05)


def false_alarms(random: Random, repeats: int, label: str, draw: Callable[[], Programme]) -> None:
    """Share of tests at 5 % that find a difference where there is none."""
    alarms = dict.fromkeys(("log-rank", "unplanned only", "entry overlooked", "Cox, families"), 0)
    fitted = 0
    for _ in range(repeats):
        drawn = draw()
        alarms["log-rank"] += cries_wolf(drawn, drawn.entry)
        alarms["unplanned only"] += cries_wolf(drawn, drawn.entry, 1)
        alarms["entry overlooked"] += cries_wolf(drawn, drawn.entry * 0)
        if drawn.group.max() == 1:
            try:
                fit = cox(
                    drawn.entry,
                    drawn.leave,
                    drawn.cause > 0,
                    drawn.group[:, None].astype(float),
                    drawn.family,
                )
            except NoEstimateError:
                continue
            fitted += 1
            alarms["Cox, families"] += bool(fit.p[0] < 0.05)
    parts = [
        f"{name} {count / (fitted if name.startswith('Cox') else repeats):.3f}"
        for name, count in alarms.items()
        if fitted or not name.startswith("Cox")
    ]
    print(f"{label}: {'  '.join(parts)}")


def coverage_of_mean_counts(random: Random, repeats: int, n_families: int, spread: float) -> None:
    """Limits of the mean number of skin events by a day, with families that differ."""
    rate = 0.01
    held = {"families": 0, "as if Poisson": 0}
    none = 0
    z = normal_quantile(0.95)
    for _ in range(repeats):
        start = random.integers(0, 15, n_families)
        stop = start + random.integers(30, 121, n_families)
        factor = random.gamma(1 / spread, spread, n_families) if spread else np.ones(n_families)
        counts = random.poisson(rate * factor * (stop - start))
        owner = np.repeat(np.arange(n_families), counts)
        day = random.integers(start[owner] + 1, stop[owner] + 1)
        table = count_table(start, stop, day)
        squares = cluster_squares(table, start, stop, np.arange(n_families), day, owner)
        found = mean_count(table, squares, clusters=n_families)
        at = min(DAY, len(found.day) - 1)
        # The truth from the first day anybody was at risk: nothing is learnt before it.
        expected = rate * (at - int(start.min()))
        none += bool(found.mean[at] == 0)
        held["families"] += bool(found.lower[at] <= expected <= found.upper[at])
        poisson = np.sqrt(
            (found.events[: at + 1] / np.maximum(found.at_risk[: at + 1], 1) ** 2).sum()
        )
        held["as if Poisson"] += bool(abs(found.mean[at] - expected) <= z * poisson)
    shares = "  ".join(f"{name} {count / repeats:.3f}" for name, count in held.items())
    print(f"{n_families:4d} families, spread {spread}: {shares}  (no event {none / repeats:.3f})")


def main(repeats: int) -> None:
    """Print all figures."""
    random = np.random.default_rng(SEED)
    print(f"{repeats} repeats, seed {SEED}; home-coming up to 21 days after placement\n")
    print(f"Share of 95 % limits that hold the truth at day {DAY}, given in place on the start:")
    for n_lines in (10, 20, 50, 100, 400):
        coverage_of_curves(random, repeats, n_lines)
    print("\nThe same with families that differ (gamma variance 1):")
    for n_lines, per_family in ((100, 1), (100, 2), (99, 3), (300, 3)):
        coverage_with_families(random, repeats, n_lines, per_family)

    print("\nShare of tests at 5 % that find a difference where there is none:")
    for n_lines in (20, 60, 200):
        false_alarms(
            random,
            repeats,
            f"{n_lines} lines, same delays",
            lambda n=n_lines: programme(random, n, entry_days=(14, 14)),
        )
    for n_lines in (60, 200):
        false_alarms(
            random,
            repeats,
            f"{n_lines} lines, home after up to 3 or 35 days",
            lambda n=n_lines: programme(random, n, entry_days=(3, 35)),
        )
    false_alarms(
        random,
        repeats,
        "200 lines, 5 groups",
        lambda: programme(random, 200, entry_days=(3, 7, 14, 21, 35)),
    )
    for n_lines, per_family in ((60, 3), (200, 3), (200, 10)):
        false_alarms(
            random,
            repeats,
            f"{n_lines} lines, {per_family} a family, families in one group, variance 1",
            lambda n=n_lines, m=per_family: programme(
                random, n, entry_days=(14, 14), lines_a_family=m, spread=1.0
            ),
        )
    false_alarms(
        random,
        repeats,
        "200 lines, 2 a family, one in each group, variance 1",
        lambda: programme(
            random, 200, entry_days=(14, 14), lines_a_family=2, spread=1.0, groups_by_family=False
        ),
    )

    print(f"\nShare of 95 % limits that hold the mean number of events by day {DAY}:")
    for n_families in (10, 30, 100):
        for spread in (0.0, 1.0):
            coverage_of_mean_counts(random, repeats, n_families, spread)


if __name__ == "__main__":
    warnings.simplefilter("error")
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
