"""How is an invented programme made, from one seed, up to one morning?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

import numpy as np
import pandas as pd

from analysis.days import date_at, day_number
from analysis.vocabulary import CallOutcome
from synthetic_data import entries, frames, plants
from synthetic_data.draws import Ints, column
from synthetic_data.dressings import changes, port_accesses
from synthetic_data.harms import Harms, harms
from synthetic_data.households import caregivers, children, families, first_caregiver
from synthetic_data.lines import lines as lines_of
from synthetic_data.oddities import with_oddities
from synthetic_data.scene import Scene, teams_for
from synthetic_data.signoffs import sign_offs
from synthetic_data.skin import with_skin_findings
from synthetic_data.stays import Stays, finished
from synthetic_data.stays import stays as stays_of
from synthetic_data.truth import PastCall, Planted, Truth
from synthetic_data.writing import logged, with_caregivers, with_receipt, with_remarks, with_steps

BLOCK = 2_000
"""Families that are simulated together; memory is bounded by it."""


@dataclass(frozen=True)
class Demo:
    """An invented programme: a frame for each incoming table, and what was planted.

    Each frame has the columns of its catalogue entry, `received_at` (UTC) and `void`, in
    order of receipt; every version of a row is a row of its own. Rows that withdraw hold
    their key only. In `home_log`, `done_at` at midnight means that only a day was given.
    `calls` are what staff recorded the day before; no file holds them.
    """

    frames: Mapping[str, pd.DataFrame]
    calls: tuple[PastCall, ...]
    truth: Truth | None
    until: date
    seed: int


def generate(
    families: int = 240, *, until: date, seed: int = 1, years: float = 2, truths: bool = True
) -> Demo:
    """Make an invented programme whose data reach to the evening before `until`.

    Parameters
    ----------
    families : int
        Families over the whole time; about four in five have a line at home at the end.
    until : date
        As-of day: nothing is dated or received on it or later.
    seed : int
        Same seed, same families, years and `until`: the same data.
    years : float
        Length of the log.
    truths : bool
        Whether things to find are planted; see :class:`Truth`.

    Raises
    ------
    ValueError
        No families, or less than a tenth of a year.
    """
    parts = list(generate_blocks(families, until=until, seed=seed, years=years, truths=truths))
    joined = {
        name: pd.concat([p.frames[name] for p in parts], ignore_index=True).sort_values(
            "received_at", kind="stable", ignore_index=True
        )
        if len(parts) > 1
        else parts[0].frames[name]
        for name in frames.TABLES
    }
    return Demo(joined, parts[0].calls, parts[0].truth, until, seed)


def generate_blocks(
    families: int, *, until: date, seed: int = 1, years: float = 2, truths: bool = True
) -> Iterator[Demo]:
    """As :func:`generate`, some thousand families at a time; a family is in one block only.

    Things to find are planted in the first block.
    """
    if families < 1 or years < 0.1:
        raise ValueError(f"{families} families over {years} years: at least 1 and 0.1 are needed.")
    day = day_number(until)
    for block, first in enumerate(range(0, families, BLOCK)):
        scene = Scene(
            first=first + 1,
            families=min(BLOCK, families - first),
            teams=teams_for(families),
            width=max(4, len(str(families))),
            start=day - round(365.25 * years),
            until=day,
        )
        rng = np.random.default_rng([seed, block])
        yield _block(rng, scene, until, seed, plant=truths and block == 0)


def _block(rng: np.random.Generator, scene: Scene, until: date, seed: int, *, plant: bool) -> Demo:
    homes = families(rng, scene)
    kids = children(rng, homes)
    people = caregivers(rng, homes, kids)
    lines = lines_of(rng, scene, homes, kids)
    made = plants.plan(rng, scene, homes, people, lines) if plant else None
    if made is not None:
        homes, people = plants.with_habits(homes, people, lines, made)
    harm = harms(rng, scene, lines)
    if made is not None:
        harm = _calm(scene, lines, harm, made.quiet())
    stays = stays_of(rng, scene, kids, lines, harm.admissions)
    if made is not None:
        stays = _calm_stays(rng, scene, lines, stays, made)
    rows = _entries(rng, scene, homes, people, lines, stays, harm, made)
    arranged: dict[str, list[plants.News]] = {}
    if made is not None:
        rows, arranged = plants.with_news(scene, rows, made)
        spared = plants.planted_families(lines, made)
        rows, arranged["odd"] = with_oddities(rng, scene, lines, people, stays.away, rows, spared)
    rows["family"] = column(lines, "family")[column(rows, "line")]
    shares = column(lines, "family")[made.chosen["never_signed_off"]] if made else _none()
    rows = with_caregivers(rng, homes, people, rows, shares)
    rows = with_remarks(rng, with_steps(rng, homes, people, rows))
    settled = plants.planted_families(lines, made) if made else _none()
    rows = with_receipt(rng, scene, homes, rows, np.isin(column(rows, "family"), settled))
    refreshed = _refreshed(homes, people, lines, made)
    signed = sign_offs(rng, scene, people, lines, refreshed)
    if made is not None:
        signed = plants.with_old_refreshers(scene, people, lines, signed, made)
    names = frames.Names(scene, homes, kids, people, lines)
    made_frames = {
        "lines": frames.lines_frame(rng, scene, names, homes, kids, lines),
        "stays": frames.stays_frame(rng, scene, names, stays.rows),
        "caregivers": frames.caregivers_frame(rng, scene, names, homes, people),
        "sign_offs": frames.sign_offs_frame(rng, scene, names, signed),
        "home_log": frames.home_log_frame(rng, scene, names, homes, lines, rows, settled),
        "outcomes": frames.outcomes_frame(rng, scene, names, lines, harm.outcomes),
    }
    truth = _truth(scene, names, people, lines, rows, made, arranged) if made else None
    calls = _calls(scene, names, truth) if truth else ()
    return Demo(made_frames, calls, truth, until, seed)


def _entries(
    rng: np.random.Generator,
    scene: Scene,
    homes: pd.DataFrame,
    people: pd.DataFrame,
    lines: pd.DataFrame,
    stays: Stays,
    harm: Harms,
    made: plants.Plan | None,
) -> pd.DataFrame:
    """Every entry that a family made while at home and wrote down."""
    accesses = port_accesses(rng, scene, lines, stays)
    dressed = changes(rng, scene, homes, lines, stays, accesses)
    changed = dressed[column(dressed, "kind") == entries.CHANGE]
    shortage = made.shortage if made else (-1, 0, 0)
    rows = entries.stacked(
        [
            dressed,
            entries.connector_changes(rng, scene, lines, changed, stays.away),
            entries.flushes(rng, scene, lines),
            entries.skin_checks(rng, scene, homes, lines, stays.away),
            entries.supply_counts(rng, scene, homes, lines, changed, shortage),
            harm.alarms,
        ]
    )
    rows = entries.watched(rng, rows)
    rows = with_skin_findings(rng, scene, homes, people, lines, rows, made.rise if made else None)
    rows = entries.at_home(lines, stays.away, rows)
    rows = entries.stacked([rows, entries.notes(rng, rows)])
    rows["family"] = column(lines, "family")[column(rows, "line")]
    return logged(rng, scene, homes, rows)


def _calm(scene: Scene, lines: pd.DataFrame, harm: Harms, quiet: Ints) -> Harms:
    """Take chance harm out of the last weeks of lines whose news is arranged."""
    since = scene.until - plants.CALM_DAYS
    children_ = column(lines, "child")[quiet]

    def calm(frame: pd.DataFrame, owner: str, owners: Ints, day: str) -> pd.DataFrame:
        hit = np.isin(column(frame, owner), owners) & (column(frame, day) >= since)
        return frame[~hit].reset_index(drop=True)

    return Harms(
        calm(harm.outcomes, "line", quiet, "onset"),
        calm(harm.alarms, "line", quiet, "day"),
        calm(harm.admissions, "child", children_, "end"),
    )


def _calm_stays(
    rng: np.random.Generator, scene: Scene, lines: pd.DataFrame, stays: Stays, made: plants.Plan
) -> Stays:
    rows = stays.rows
    own = np.isin(column(rows, "child"), column(lines, "child")[made.quiet()])
    recent = column(rows, "end") >= scene.until - plants.CALM_DAYS
    kept = rows[~(own & recent)].drop(columns="dressed")
    planted = plants.stays_planted(scene, lines, made)
    return finished(rng, pd.concat([kept, planted], ignore_index=True))


def _refreshed(
    homes: pd.DataFrame, people: pd.DataFrame, lines: pd.DataFrame, made: plants.Plan | None
) -> tuple[Ints, int]:
    if made is None:
        return _none(), 0
    first, _ = first_caregiver(people, len(homes))
    family = column(lines, "family")[made.chosen["refresher_helped"]]
    return first[family], made.refreshed_on


def _truth(
    scene: Scene,
    names: frames.Names,
    people: pd.DataFrame,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    made: plants.Plan,
    arranged: dict[str, list[plants.News]],
) -> Truth:
    family = column(lines, "family")
    first, _ = first_caregiver(people, len(names.families))

    def codes(name: str) -> tuple[str, ...]:
        return tuple(names.families[f] for f in family[made.chosen[name]])

    def planted(line: int, day: int, detail: str, days: int = 0) -> Planted:
        home = names.families[family[line]]
        return Planted(home, names.lines[line], date_at(day), detail, days)

    def news(name: str) -> tuple[Planted, ...]:
        return tuple(planted(*one) for one in arranged[name])

    def last_by(line: int, person: int) -> int:
        own = rows[(rows["line"] == line) & (rows["caregiver"] == person)]
        return int(own.loc[own["kind"] == entries.CHANGE, "day"].max())

    second = [(line, int(first[family[line]]) + 1) for line in made.chosen["never_signed_off"]]
    weak = [(line, int(first[family[line]])) for line in made.chosen["weak_step"]]
    return Truth(
        as_of=date_at(scene.until),
        lift_early=codes("lift_early"),
        late_habit=codes("late_habit"),
        refresher_helped=tuple(
            planted(line, made.refreshed_on, names.caregivers[first[family[line]]])
            for line in made.chosen["refresher_helped"]
        ),
        weak_step=tuple(
            planted(line, scene.until, f"{names.caregivers[person]}:dry_time")
            for line, person in weak
        ),
        never_signed_off=tuple(
            planted(line, last_by(line, person), names.caregivers[person])
            for line, person in second
        ),
        skin_site=names.sites[made.rise.team],
        skin_from=date_at(made.rise.from_day),
        shortage_site=names.sites[made.shortage[0]],
        shortage_from=date_at(made.shortage[1]),
        shortage_to=date_at(made.shortage[2]),
        **{name: news(name) for name in arranged},
    )


def _calls(scene: Scene, names: frames.Names, truth: Truth) -> tuple[PastCall, ...]:
    yesterday = date_at(scene.until - 1)
    return tuple(
        PastCall(
            family_id=one.family_id,
            called_at=datetime.combine(yesterday, time(14, 10 + 12 * at), UTC),
            called_by=names.nurses[names.families.index(one.family_id)],
            outcome=CallOutcome.REACHED,
            agreed="will change it tomorrow evening",
            recheck_on=date_at(scene.until + 1),
        )
        for at, one in enumerate(truth.called)
    )


def _none() -> Ints:
    return np.zeros(0, dtype=np.int64)
