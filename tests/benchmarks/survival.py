"""How long do dwell curves, tests and regression take, and how does that grow?

Times are medians of interleaved runs, as ratios to one sort of the same number of integers,
which any machine can do; seconds beside them for this machine. Prints, asserts nothing:

    python -m tests.benchmarks.survival
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from analysis.stats.competing import aalen_johansen
from analysis.stats.cox import cox, split_at_periods
from analysis.stats.day_table import DayTable, Ints, day_table, day_tables
from analysis.stats.logrank import logrank
from analysis.stats.recurrent import cluster_squares, count_table
from analysis.stats.survival import kaplan_meier

RUNS = 7
N_GROUPS = 8


def seconds(**jobs: Callable[[], object]) -> dict[str, float]:
    """Median time of each job, run in turns after one warm-up."""
    spent: dict[str, list[float]] = {name: [] for name in jobs}
    for job in jobs.values():
        job()
    for _ in range(RUNS):
        for name, job in jobs.items():
            began = time.perf_counter()
            job()
            spent[name].append(time.perf_counter() - began)
    return {name: float(np.median(values)) for name, values in spent.items()}


def lines(n_lines: int, random: np.random.Generator) -> tuple[Ints, Ints, Ints, Ints]:
    """Entry, exit, cause and group of made-up lines."""
    entry = random.integers(0, 30, n_lines)
    leave = entry + np.minimum(random.geometric(0.008, n_lines), 720)
    return (
        entry,
        leave,
        random.integers(0, 4, n_lines),
        random.integers(0, N_GROUPS, n_lines),
    )


def curves(random: np.random.Generator) -> None:
    """Day tables and all that is made from them, at three sizes."""
    print("curves from lines (entry, exit, cause), time over one np.sort of as many integers")
    total = {}
    for n_lines in (10_000, 100_000, 1_000_000):
        entry, leave, cause, group = lines(n_lines, random)
        numbers = random.integers(0, 2**62, n_lines)
        table = day_table(entry, leave, cause, n_causes=3)
        tables = day_tables(entry, leave, cause, group, n_causes=3, n_groups=N_GROUPS)
        found = seconds(
            sort=lambda numbers=numbers: np.sort(numbers),
            table=lambda e=entry, x=leave, c=cause: day_table(e, x, c, n_causes=3),
            by_group=lambda e=entry, x=leave, c=cause, g=group: day_tables(
                e, x, c, g, n_causes=3, n_groups=N_GROUPS
            ),
            kaplan_meier=lambda t=table: kaplan_meier(t),
            aalen_johansen=lambda t=table: aalen_johansen(t),
            logrank=lambda t=tables: logrank(t),
            add=lambda t=tables: sum(t, DayTable.empty(3)),
        )
        total[n_lines] = found["table"] + found["kaplan_meier"] + found["aalen_johansen"]
        parts = "  ".join(
            f"{name} {spent / found['sort']:.3f} ({1000 * spent:.2f} ms)"
            for name, spent in found.items()
        )
        print(f"{n_lines:9,d} lines: {parts}")
        print(f"           table + both curves: {1000 * total[n_lines]:.2f} ms")
    growth = np.log10(total[1_000_000] / total[100_000])
    print(f"growth from 100 k to 1 M lines, exponent {growth:.2f}\n")


def regression(random: np.random.Generator) -> None:
    """Cox regression of overdue spells, and errors of mean counts, in seconds."""
    print("regression and counts")
    for n_lines in (1_000, 10_000):
        entry, leave, cause, _ = lines(n_lines, random)
        spell_line = np.repeat(np.arange(n_lines), 3)
        since = np.tile([20, 60, 120], n_lines) + random.integers(0, 30, 3 * n_lines)
        family = np.arange(n_lines) // 2
        rows = split_at_periods(entry, leave, cause > 0, spell_line, since, since + 3)
        exposed = rows.exposed[:, None].astype(float)
        owner = random.integers(0, n_lines, n_lines)
        day = random.integers(entry[owner] + 1, leave[owner] + 1)
        table = count_table(entry, leave, day)
        found = seconds(
            split=lambda e=entry, x=leave, c=cause, s=spell_line, a=since: split_at_periods(
                e, x, c > 0, s, a, a + 3
            ),
            cox=lambda r=rows, z=exposed, f=family: cox(r.start, r.stop, r.event, z, f[r.line]),
            squares=lambda t=table, e=entry, x=leave, f=family, d=day, o=owner: cluster_squares(
                t, e, x, f, d, f[o]
            ),
        )
        parts = "  ".join(f"{name} {1000 * spent:.0f} ms" for name, spent in found.items())
        print(f"{n_lines:9,d} lines, {len(rows.line):,d} rows: {parts}")


if __name__ == "__main__":
    generator = np.random.default_rng(20310401)
    curves(generator)
    regression(generator)
