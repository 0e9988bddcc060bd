"""How fast is the timeline? Prints ratios; run it as ``python tests/benchmarks/timeline.py``.

The core is what turns int-coded entries, stays and lines into the dressing's intervals,
days by class, state and monthly days. It is set against one np.sort of the packed keys of
the same changes, against a straightforward group-by over lines, and against itself at a
tenth of the size. Every measure is the least processor time of several runs, taken in
turns: all of it is the work of one core.
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

from analysis.days import NO_DAY, dates_of, day_number
from analysis.policy import shipped_policy
from analysis.tables import KNOWN, Records
from analysis.tallies import tally
from analysis.tallies.pieces import months_of
from analysis.timeline import build
from analysis.timeline.attributes import Attributes
from analysis.timeline.axis import NEVER, Axis, within
from analysis.timeline.build import Coded, by_block
from analysis.timeline.care import DatedDays
from analysis.timeline.coded import (
    ENTRY_KINDS,
    LINE_TYPES,
    Entries,
    Lines,
    Marks,
    Outcomes,
    Stays,
    words_of,
)
from analysis.timeline.home import find_home
from analysis.vocabulary import DressingType, EntryKind, LineType, Task

AS_OF = date(2031, 1, 1)
A = day_number(AS_OF)
CHANGES_PER_LINE = 47
_NONE = np.zeros(0, dtype=np.int64)
NO_OUTCOMES = Outcomes(_NONE, _NONE.astype(np.int8), _NONE, _NONE)


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
        attributes = Attributes.of(axis, self.lines)
        coded = Coded(
            axis, self.lines, attributes, lambda: self.entries, self.stays, NO_OUTCOMES, home
        )
        told = []
        for part in by_block(coded, POLICY, [Task.DRESSING]):
            found = part.intervals[Task.DRESSING]
            months = months_of(axis, within(home.periods, *part.block.bounds))
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
DRESSINGS = tuple(DressingType)
CHANGES, CHECKS, OPENS, CLOSES = (
    ENTRY_KINDS.index(k)
    for k in (
        EntryKind.DRESSING_CHANGE,
        EntryKind.SKIN_CHECK,
        EntryKind.PORT_ACCESSED,
        EntryKind.PORT_DEACCESSED,
    )
)


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
    families = [f"F{nth:09}" for nth in range(n)]
    lines = Lines(
        frame=pd.DataFrame(),
        child=position,
        family=position,
        family_ids=pd.Series(families, dtype="string"),
        placed_on=home_from - 5,
        home_from=home_from,
        end_on=np.where(end_on <= A, end_on, NEVER),
        removed=np.ones(n, dtype=bool),
        line_type=line_type.astype(np.int8),
        dressing_on=home_from - 1,
        times=pd.DataFrame(
            {
                "line": position,
                "start": NO_DAY,
                "family_id": pd.array(families, dtype="string"),
                "site": "north",
                "nurse": "n1",
                "dressing_type": words_of(zeros, tuple(DressingType)),
                "change_every_days": pd.array([None] * n, dtype="Int64"),
                "flush_every_days": pd.array([None] * n, dtype="Int64"),
            }
        ),
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
        mark=Marks(
            kind.astype(np.int8),
            np.where(kind == CHANGES, put_on, -1).astype(np.int8),
            kind == CHECKS,
        ).in_one(),
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
    """The keys whose np.sort is the measure: every change of a dressing."""
    changes = Marks.read(case.entries.mark).kind == CHANGES
    return Axis(A - 500, A).pack(case.entries.line[changes], case.entries.day[changes])


def by_group(case: Programme) -> pd.DataFrame:
    """The same days by month, one line after the other with groupby.apply and numpy inside."""
    lines, entries, stays = case.lines, case.entries, case.stays
    marks = Marks.read(entries.mark)
    log = pd.DataFrame(
        {
            "line": entries.line,
            "day": entries.day,
            "at": entries.at,
            "kind": marks.kind,
            "put_on": marks.dressing_type,
        }
    ).sort_values(["line", "day", "at"])
    nights: dict[int, list[tuple[int, ...]]] = {}
    told = (stays.child, stays.from_on, np.minimum(stays.to_on, A + 1), stays.dressing_on)
    for child, *stay in zip(*(values.tolist() for values in told), strict=True):
        nights.setdefault(child, []).append(tuple(stay))
    edition = POLICY.on(AS_OF)
    lengths = np.array([edition.interval_days(Task.DRESSING, d, None) or 0 for d in DRESSINGS])
    facts = (lines.home_from, lines.end_on, lines.is_port, lines.dressing_on, nights, lengths)
    return log.groupby("line", sort=False)[list(log.columns)].apply(one_line, *facts)


def one_line(
    log: pd.DataFrame,
    home_from: np.ndarray,
    end_on: np.ndarray,
    is_port: np.ndarray,
    dressing_on: np.ndarray,
    nights: dict[int, list[tuple[int, ...]]],
    lengths: np.ndarray,
) -> pd.DataFrame:
    """Home, in-date and out-of-date days of one line by month."""
    line, *columns = (log[c].to_numpy() for c in ("line", "day", "at", "kind", "put_on"))
    own = line[0]
    coming, line_end = home_from[own], end_on[own]
    day, at, kind, put_on = (c[columns[0] < line_end] for c in columns)
    stays = sorted(nights.get(own, []))
    away: list[list[int]] = []
    for start, stop, _ in stays:
        if away and start <= away[-1][1]:
            away[-1][1] = max(away[-1][1], stop)
        else:
            away.append([start, stop])
    cuts = [start for start, _ in away]
    home = np.zeros(A + 2 - coming, dtype=bool)
    home[: max(min(line_end, A + 1) - coming, 0)] = True
    for start, stop in away:
        home[max(start - coming, 0) : max(stop - coming, 0)] = False

    noted = np.unique([dressing_on[own], *(d for *_, d in stays if d != NO_DAY)])
    noted = noted[noted < line_end]
    changed = kind == CHANGES
    if is_port[own]:
        changed |= kind == OPENS
        cuts += day[kind == CLOSES].tolist()
    starts = np.concatenate([noted, day[changed]])
    last_at = np.concatenate([np.full(len(noted), NO_DAY), at[changed]])
    worn = np.concatenate([np.full(len(noted), -1), put_on[changed]])
    order = np.argsort(starts, kind="stable")
    start, last_at, worn = starts[order], last_at[order], worn[order]
    for nth in range(1, len(start)):
        if start[nth] == start[nth - 1] and worn[nth] < 0:
            worn[nth] = worn[nth - 1]
    last = np.append(start[1:] != start[:-1], True)[: len(start)]
    if is_port[own]:
        turns = np.flatnonzero((kind == OPENS) | (kind == CLOSES))
        turn = np.searchsorted(day[turns], start, side="right") - 1
        last &= (turn >= 0) & (kind[turns][turn] == OPENS)
    start, last_at, worn = start[last], last_at[last], worn[last]
    ended = np.append(start[1:], min(line_end, A))[: len(start)]
    cuts = np.sort([*cuts, A + 1])
    ended = np.minimum(
        ended, cuts[np.searchsorted(cuts, start, side="right").clip(max=len(cuts) - 1)]
    )
    back = np.maximum(start, coming)
    for begin, stop in away:
        back[(begin <= start) & (start < stop)] = max(stop, coming)
    until = np.maximum(start + lengths[np.maximum(worn, 0)], back)

    found = (kind == CHECKS) & (day >= coming)
    found_on, found_at = day[found], at[found]
    of = np.searchsorted(start, found_on, side="right") - 1
    same = (of >= 0) & (start[of] == found_on) if len(start) else of >= 0
    of -= same & ~((last_at[of] != NO_DAY) & (found_at > last_at[of])) if len(start) else 0
    good = (of >= 0) & home[found_on - coming]
    good[good] = found_on[good] <= ended[of[good]]
    np.minimum.at(until, of[good], found_on[good])

    in_date = np.zeros(len(home) + 1, dtype=int)
    out = in_date.copy()
    for begin, stop, marks in (
        (back, np.minimum(until, ended), in_date),
        (np.maximum(until, back), ended, out),
    ):
        real = begin < stop
        np.add.at(marks, begin[real] - coming, 1)
        np.add.at(marks, stop[real] - coming, -1)
    month = np.arange(coming, A).astype("datetime64[D]").astype("datetime64[M]").astype(int)
    n_days = len(month)
    month -= month[0]
    return pd.DataFrame(
        {
            "home": np.bincount(month, home[:n_days]),
            "in_date": np.bincount(month, in_date.cumsum()[:n_days]),
            "out": np.bincount(month, out.cumsum()[:n_days]),
        }
    )


def best(*actions: Callable[[], object], runs: int) -> list[float]:
    """Best processor time of each action, the actions taken in turns."""
    times = [math.inf] * len(actions)
    for _ in range(runs):
        for at, action in enumerate(actions):
            begun = time.process_time()
            action()
            times[at] = min(times[at], time.process_time() - begun)
    return times


def frames_of(case: Programme) -> Records:
    """The same programme as frames of words, with skin findings."""
    lines, entries, stays = case.lines, case.entries, case.stays
    n, m = len(lines.child), len(entries.line)
    chance = np.random.default_rng(7)
    name = np.array([f"L{i:06d}" for i in range(n)], dtype=object)
    received_at = np.datetime64("2031-01-02", "us")
    findings = np.array([None, "none", "redness", "redness;itch"], dtype=object)
    marks = Marks.read(entries.mark)
    condition = np.where(marks.found_compromised & (chance.random(m) < 0.2), "loose", None)
    end_on = np.where(lines.end_on == NEVER, NO_DAY, lines.end_on)
    to_on = np.where(stays.to_on == NEVER, NO_DAY, stays.to_on)
    columns = {
        "lines": {
            "line_id": name,
            "child_id": name,
            "family_id": name,
            "site": np.full(n, "north", dtype=object),
            "line_type": np.array(LINE_TYPES, dtype=object)[lines.line_type],
            "placed_on": dates_of(lines.placed_on),
            "home_from": dates_of(lines.home_from),
            "removed_on": dates_of(end_on),
            "dressing_type": np.full(n, "transparent", dtype=object),
            "dressing_on": dates_of(lines.dressing_on),
        },
        "stays": {
            "child_id": name[stays.child],
            "from_on": dates_of(stays.from_on),
            "to_on": dates_of(to_on),
            "dressing_on": dates_of(stays.dressing_on),
        },
        "home_log": {
            "line_id": name[entries.line],
            "family_id": name[entries.line],
            "done_on": dates_of(entries.day),
            "kind": np.array(ENTRY_KINDS, dtype=object)[marks.kind],
            "dressing_condition": condition,
            "findings": findings[chance.choice(4, m, p=[0.5, 0.45, 0.03, 0.02])],
        },
    }
    frames = {}
    for table, filled in columns.items():
        entry = KNOWN[table]
        length = len(next(iter(filled.values())))
        blank = entry.empty().reindex(range(length))
        filled["row"] = np.arange(1, length + 1)
        filled["received_at"] = np.full(length, received_at)
        for column, values in filled.items():
            blank[column] = pd.Series(values).astype(entry[column].dtype)
        frames[table] = blank
    return Records.of(frames)


if __name__ == "__main__":
    runs = int(sys.argv[1]) if sys.argv[1:] else 5
    small, large = programme(10_000, 1), programme(100_000, 1)
    key = packed(large)
    print(f"{len(key):,} changes of {len(large.lines.child):,} lines")
    core, sort, stable, core_small = best(
        large.core,
        lambda: np.sort(key),
        lambda: np.sort(key, kind="stable"),
        small.core,
        runs=runs,
    )
    # The quick sort has vector instructions on newer processors only, the stable one on none.
    for name, spent in (("np.sort", sort), ("stable np.sort", stable)):
        print(
            f"core / {name} of its packed key: {core / spent:.2f}  ({core:.2f} s / {spent:.2f} s)"
        )
    print(f"growth exponent 10 k to 100 k lines: {math.log10(core / core_small):.3f}")

    begun = time.process_time()
    slow = by_group(small)
    grouped = time.process_time() - begun
    fast = pd.DataFrame(
        [(int(i.sum()), int(o.sum())) for _, _, (i, o) in small.core()], columns=["in_date", "out"]
    ).sum()
    assert fast["in_date"] == slow["in_date"].sum(), (fast, slow.sum())
    assert fast["out"] == slow["out"].sum(), (fast, slow.sum())
    print(f"groupby.apply / core, 10 k lines, same days: {grouped / core_small:.0f}")

    records = frames_of(small)
    timeline = build(records, POLICY, AS_OF)
    built, tallied = best(
        lambda: build(records, POLICY, AS_OF), lambda: tally(timeline, POLICY), runs=runs
    )
    print(
        f"10 k lines, {len(records.home_log):,} entries: build {built:.2f} s, tally {tallied:.2f} s"
    )
