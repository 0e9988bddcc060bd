"""How fast is the timeline? Prints ratios; run it as ``python tests/benchmarks/timeline.py``.

The core is what turns int-coded entries, stays and lines into the dressing's intervals,
days by class, state and monthly days. It is set against one np.sort of the packed keys of
the same changes, against a straightforward group-by over lines, and against itself at a
tenth of the size. Every measure is the best of several runs, taken in turns.
"""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analysis.policy import shipped_policy
from analysis.tables import KNOWN, Records
from analysis.tables.columns import NO_DAY, dates_of
from analysis.tallies import tally
from analysis.timeline import build
from analysis.tallies.pieces import months_of
from analysis.timeline.axis import NEVER, Axis, within
from analysis.timeline.build import Coded, by_block
from analysis.timeline.care import DatedDays
from analysis.timeline.coded import ENTRY_KINDS, LINE_TYPES, Entries, Lines, Stays
from analysis.timeline.home import find_home
from analysis.vocabulary import DressingType, EntryKind, LineType, Task

AS_OF = date(2031, 1, 1)
A = (AS_OF - date(1970, 1, 1)).days
CHANGES_PER_LINE = 47


@dataclass(frozen=True)
class Programme:
    """Lines, entries and stays as numbers."""

    lines: Lines
    entries: Entries
    stays: Stays

    def core(self) -> object:
        """The measured part."""
        days = (self.lines.placed_on, self.lines.home_from, self.lines.dressing_on)
        axis = Axis.around(A, (*days, self.entries.day, self.stays.from_on))
        home = find_home(axis, self.lines, self.stays)
        coded = Coded(axis, self.lines, self.entries, self.stays, home)
        told = []
        for part in by_block(coded, POLICY, [Task.DRESSING]):
            found = part.intervals[Task.DRESSING]
            months = months_of(axis, within(home.spells, *part.block.bounds))
            dated = DatedDays(
                found.key,
                found.home_on,
                found.allowed_until,
                found.end_on,
                found.in_date_days,
                found.out_of_date_days,
            )
            told.append((part.care[Task.DRESSING], months, dated.by_piece(axis, months)))
        return told


POLICY = shipped_policy()


def programme(n: int, seed: int) -> Programme:
    """One line a child: changes about weekly for a year, reports, stays, one line in ten a port."""
    chance = np.random.default_rng(seed)
    position = np.arange(n, dtype=np.int64)
    home_from = A - 400 + chance.integers(0, 60, n)
    end_on = np.where(chance.random(n) < 0.3, home_from + chance.integers(30, 390, n), NEVER)
    is_port = chance.random(n) < 0.1
    line_type = np.where(
        is_port, LINE_TYPES.index(LineType.IMPLANTED_PORT), LINE_TYPES.index(LineType.PICC)
    )
    zeros = np.zeros(n, dtype=np.int64)
    lines = Lines(
        frame=pd.DataFrame(),
        child=position,
        family=position,
        family_ids=pd.Series(dtype="string"),
        placed_on=home_from - 5,
        home_from=home_from,
        end_on=np.where(end_on <= A, end_on, NEVER),
        removed=np.ones(n, dtype=bool),
        line_type=line_type.astype(np.int8),
        dressing_type=zeros.astype(np.int8),
        dressing_on=home_from - 1,
        dressing_order=zeros,
        flush_order=zeros,
    )
    change = np.repeat(position, CHANGES_PER_LINE)
    nth = np.tile(np.arange(CHANGES_PER_LINE), n)
    change_day = home_from[change] + nth * 7 + chance.integers(0, 6, len(change))
    report = chance.integers(0, n, n * 2)
    report_day = home_from[report] + chance.integers(0, 330, len(report))
    port = np.repeat(np.flatnonzero(is_port), 6)
    port_day = home_from[port] + np.tile(np.arange(6) * 50, int(is_port.sum()))
    kind = np.concatenate(
        [
            np.full(len(change), ENTRY_KINDS.index(EntryKind.DRESSING_CHANGE)),
            np.full(len(report), ENTRY_KINDS.index(EntryKind.SKIN_CHECK)),
            np.where(
                np.arange(len(port)) % 2,
                ENTRY_KINDS.index(EntryKind.PORT_DEACCESSED),
                ENTRY_KINDS.index(EntryKind.PORT_ACCESSED),
            ),
        ]
    )
    line, day = (
        np.concatenate(p) for p in ((change, report, port), (change_day, report_day, port_day))
    )
    order = chance.permutation(len(line))
    line, day, kind = line[order], day[order], kind[order]
    known = day <= A
    line, day, kind = line[known], day[known], kind[known]
    moment = day * 86_400_000_000 + chance.integers(0, 86_400_000_000, len(day))
    put_on = np.where(chance.random(len(day)) < 0.05, 2, -1)
    entries = Entries(
        line=line,
        family=line,
        day=day,
        at=np.where(chance.random(len(day)) < 0.2, NO_DAY, moment),
        row=np.arange(1, len(day) + 1, dtype=np.int64),
        kind=kind.astype(np.int8),
        dressing_type=np.where(kind == 0, put_on, -1).astype(np.int8),
        found_compromised=kind == ENTRY_KINDS.index(EntryKind.SKIN_CHECK),
        findings=np.zeros(len(day), dtype=np.int64),
        findings_texts=("",),
    )
    child = chance.integers(0, n, int(n * 1.5))
    from_on = home_from[child] + chance.integers(0, 380, len(child))
    to_on = from_on + chance.integers(1, 15, len(child))
    begun = from_on <= A
    stays = Stays(
        child=child[begun],
        from_on=from_on[begun],
        to_on=np.where(to_on <= A, to_on, NEVER)[begun],
        dressing_on=np.where(chance.random(len(child)) < 0.3, to_on - 1, NO_DAY)[begun],
    )
    return Programme(lines, entries, stays)


def packed(case: Programme) -> np.ndarray:
    """The keys whose np.sort is the measure."""
    changes = case.entries.kind == ENTRY_KINDS.index(EntryKind.DRESSING_CHANGE)
    return Axis(A - 500, A).pack(case.entries.line[changes], case.entries.day[changes])


def best(*actions: Callable[[], object], runs: int = 5) -> list[float]:
    """Best time of each action, the actions taken in turns."""
    times = [math.inf] * len(actions)
    for _ in range(runs):
        for at, action in enumerate(actions):
            begun = time.perf_counter()
            action()
            times[at] = min(times[at], time.perf_counter() - begun)
    return times


if __name__ == "__main__":
    small, large = programme(10_000, 1), programme(100_000, 1)
    small_key, key = packed(small), packed(large)
    print(f"{len(key):,} changes of {len(large.lines.child):,} lines")
    core, sort, core_small = best(
        large.core, lambda: np.sort(key), small.core, runs=int(sys.argv[1]) if sys.argv[1:] else 5
    )
    print(f"core / np.sort of its packed key: {core / sort:.2f}  ({core:.2f} s / {sort:.2f} s)")
    print(f"growth exponent 10 k to 100 k lines: {math.log10(core / core_small):.3f}")
