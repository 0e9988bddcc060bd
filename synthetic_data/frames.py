"""How do whole numbers become the frames of the incoming tables, versions and all?

Each frame has the catalogued columns of its table and two more: `received_at` (UTC) and
`void`. In `home_log`, `done_at` at midnight means that only the day was written down.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.days import NO_DAY, dates_of
from analysis.tables import INCOMING
from analysis.vocabulary import (
    ChangeReason,
    DressingCondition,
    DressingType,
    EntryKind,
    LineType,
    OutcomeKind,
    Place,
    Relation,
    RemovalReason,
    SignOffKind,
    SignOffOutcome,
    Skill,
    Therapy,
)
from synthetic_data import habits
from synthetic_data.draws import BLANK, Bools, Ints, between, column
from synthetic_data.entries import FINDING_TEXTS, STEP_TEXTS
from synthetic_data.scene import Scene

_DAY = 24 * 60
_MINUTE = 60_000_000

TABLES = tuple(name for name in INCOMING if name != "calls")
"""Tables that the invented files hold; recorded calls are recorded as on the page."""


def texts(words: Sequence[str], codes: Ints) -> pd.Series[Any]:
    """Text column from positions; BLANK is missing."""
    taken = pa.array(words, pa.large_string()).take(pa.array(codes, mask=codes == BLANK))
    return pd.Series(pd.array(taken, dtype="string"))


def categories(words: type[StrEnum], codes: Ints) -> pd.Series[Any]:
    """Category column from positions; BLANK is missing."""
    names = pd.Index([str(w) for w in words])
    return pd.Series(pd.Categorical.from_codes(cast("Sequence[int]", codes), names))


def dates(days: Ints) -> pd.Series[Any]:
    """Date column from days since 1970; BLANK is missing."""
    return pd.Series(dates_of(np.where(days == BLANK, NO_DAY, days)))


def counts(numbers: Ints) -> pd.Series[Any]:
    """Whole-number column; BLANK is missing."""
    return pd.Series(pd.arrays.IntegerArray(numbers.astype(np.int64), numbers == BLANK))


def instants(minutes: Ints) -> pd.Series[Any]:
    """Moments from minutes since 1970; BLANK is missing."""
    moments = (minutes * _MINUTE).astype("datetime64[us]")
    moments[minutes == BLANK] = np.datetime64("NaT")
    return pd.Series(moments)


def numbered(
    prefix: str, number: Ints, width: int, suffix: npt.ArrayLike | None = None
) -> list[str]:
    """Codes such as ``F-0007`` or ``L-0007-2``."""
    parts = [pc.utf8_lpad(pa.array(number).cast(pa.string()), width, "0")]
    if suffix is not None:
        parts.append(pa.array(np.asarray(suffix)).cast(pa.string()))
    out: list[str] = pc.binary_join_element_wise(pa.scalar(prefix), *parts, "-").to_pylist()
    return out


class Names:
    """Codes of everybody in a scene, by position."""

    def __init__(
        self,
        scene: Scene,
        homes: pd.DataFrame,
        kids: pd.DataFrame,
        people: pd.DataFrame,
        lines: pd.DataFrame,
    ) -> None:
        number, width = column(homes, "number"), scene.width
        self.families = numbered("F", number, width)
        self.children = numbered(
            "C", number[column(kids, "family")], width, column(kids, "which") + 1
        )
        self.caregivers = numbered(
            "K", number[column(people, "family")], width, column(people, "which") + 1
        )
        self.lines = numbered("L", number[column(lines, "family")], width, column(lines, "seq"))
        team, nurse = column(homes, "team"), column(homes, "nurse")
        self.sites = [scene.team_name(t) for t in range(scene.teams)]
        self.nurses = [
            f"N{t + 1}-{k + 1}" for t, k in zip(team.tolist(), nurse.tolist(), strict=True)
        ]


def lines_frame(
    rng: np.random.Generator,
    scene: Scene,
    names: Names,
    homes: pd.DataFrame,
    kids: pd.DataFrame,
    lines: pd.DataFrame,
) -> pd.DataFrame:
    """Registry of lines: a version when the line comes home, another when it ends."""
    family, child = column(lines, "family"), column(lines, "child")
    n = len(lines)
    ended = column(lines, "end") < scene.until
    at = np.concatenate([np.arange(n), np.flatnonzero(ended)])
    later = np.arange(at.size) >= n
    end, left = column(lines, "end")[at], lines["left"].to_numpy()[at]
    home = column(lines, "home")[at]
    recorded = np.where(later, end + between(rng, 0, 2, at.size), home) * _DAY
    received = recorded + between(rng, 9 * 60, 16 * 60, at.size)
    contact = [f"demo contact {name}, evenings" for name in names.families]
    therapy = np.where(rng.random(n) < 0.02, BLANK, column(lines, "therapy"))[at]
    born = column(kids, "born")[child][at].astype("datetime64[D]").astype("datetime64[M]")
    frame = pd.DataFrame(
        {
            "line_id": texts(names.lines, at),
            "child_id": texts(names.children, child[at]),
            "family_id": texts(names.families, family[at]),
            "site": texts(names.sites, column(homes, "team")[family[at]]),
            "nurse": texts(names.nurses, family[at]),
            "line_type": categories(LineType, column(lines, "type")[at]),
            "lumens": counts(column(lines, "lumens")[at]),
            "placed_on": dates(column(lines, "placed")[at]),
            "home_from": dates(home),
            "removed_on": dates(np.where(later & ~left, end, BLANK)),
            "removal_reason": categories(
                RemovalReason, np.where(later, column(lines, "reason")[at], BLANK)
            ),
            "left_on": dates(np.where(later & left, end, BLANK)),
            "dressing_type": categories(DressingType, column(lines, "dressing")[at]),
            "change_every_days": counts(column(lines, "order")[at]),
            "dressing_on": dates(column(lines, "dressed_on")[at]),
            "flush_every_days": counts(column(lines, "flush")[at]),
            "born": pd.Series(born.astype("datetime64[s]")),
            "therapy": categories(Therapy, therapy),
            "kit_delivery_days": counts(column(lines, "kit_days")[at]),
            "language": texts(habits.LANGUAGES, column(homes, "language")[family[at]]),
            "contact": texts(contact, family[at]),
        }
    )
    return _received(scene, frame, received, np.zeros(at.size, dtype=bool), "lines")


def stays_frame(
    rng: np.random.Generator, scene: Scene, names: Names, rows: pd.DataFrame
) -> pd.DataFrame:
    """Registry of stays: a version at admission, another when the child is back."""
    rows = rows[column(rows, "start") < scene.until].reset_index(drop=True)
    n = len(rows)
    over = column(rows, "end") < scene.until
    at = np.concatenate([np.arange(n), np.flatnonzero(over)])
    later = np.arange(at.size) >= n
    start, end = column(rows, "start")[at], column(rows, "end")[at]
    recorded = np.where(later, end, start) * _DAY
    received = recorded + between(rng, 11 * 60, 19 * 60, at.size)
    frame = pd.DataFrame(
        {
            "child_id": texts(names.children, column(rows, "child")[at]),
            "from_on": dates(start),
            "to_on": dates(np.where(later, end, BLANK)),
            "place": categories(Place, column(rows, "place")[at]),
            "dressing_on": dates(np.where(later, column(rows, "dressed")[at], BLANK)),
        }
    )
    return _received(scene, frame, received, np.zeros(at.size, dtype=bool), "stays")


def caregivers_frame(
    rng: np.random.Generator, scene: Scene, names: Names, homes: pd.DataFrame, people: pd.DataFrame
) -> pd.DataFrame:
    """Registry of caregivers, as of the day their family joined."""
    family = column(people, "family")
    frame = pd.DataFrame(
        {
            "caregiver_id": texts(names.caregivers, np.arange(len(people))),
            "family_id": texts(names.families, family),
            "relation": categories(Relation, column(people, "relation")),
        }
    )
    received = column(homes, "joined")[family] * _DAY + between(rng, 480, 540, len(people))
    return _received(scene, frame, received, np.zeros(len(people), dtype=bool), "caregivers")


def sign_offs_frame(
    rng: np.random.Generator, scene: Scene, names: Names, rows: pd.DataFrame
) -> pd.DataFrame:
    """Registry of sign-offs, known on their day."""
    frame = pd.DataFrame(
        {
            "caregiver_id": texts(names.caregivers, column(rows, "caregiver")),
            "skill": categories(Skill, column(rows, "skill")),
            "signed_on": dates(column(rows, "day")),
            "outcome": categories(SignOffOutcome, column(rows, "outcome")),
            "kind": categories(SignOffKind, column(rows, "kind")),
        }
    )
    received = column(rows, "day") * _DAY + between(rng, 15 * 60, 17 * 60, len(rows))
    return _received(scene, frame, received, np.zeros(len(rows), dtype=bool), "sign_offs")


def outcomes_frame(
    rng: np.random.Generator, scene: Scene, names: Names, lines: pd.DataFrame, rows: pd.DataFrame
) -> pd.DataFrame:
    """Confirmed harm; a few are withdrawn when a second look did not confirm them."""
    n = len(rows)
    onset, confirmed = column(rows, "onset"), column(rows, "confirmed")
    known = np.where(confirmed == BLANK, onset + 2, confirmed)
    not_confirmed = np.sort(rng.permutation(n)[: -(-n * 3 // 100)])
    at = np.concatenate([np.arange(n), not_confirmed])
    void = np.arange(at.size) >= n
    line = column(rows, "line")[at]
    frame = pd.DataFrame(
        {
            "child_id": texts(names.children, column(lines, "child")[line]),
            "line_id": texts(names.lines, line),
            "outcome": categories(OutcomeKind, column(rows, "kind")[at]),
            "onset_on": dates(onset[at]),
            "confirmed_on": dates(np.where(void, BLANK, confirmed[at])),
        }
    )
    received = (known[at] + np.where(void, 6, 0)) * _DAY + between(rng, 600, 960, at.size)
    return _received(scene, frame, received, void, "outcomes")


def home_log_frame(
    rng: np.random.Generator,
    scene: Scene,
    names: Names,
    homes: pd.DataFrame,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    settled: Ints,
) -> pd.DataFrame:
    """Families' entries; some corrected or withdrawn later, some with the family's code only.

    `settled` are families whose entries are left as they are.
    """
    rows = rows.sort_values(["received", "line", "day", "minute", "kind"], ignore_index=True)
    family = column(lines, "family")[column(rows, "line")]
    alike = rows.drop(columns="received").duplicated().to_numpy()
    rows = rows[homes["numbered"].to_numpy()[family] | ~alike].reset_index(drop=True)
    family = column(lines, "family")[column(rows, "line")]
    rows["entry"] = rows.assign(family=family).groupby("family").cumcount() + 1
    fixed = np.isin(family, settled) | ~homes["numbered"].to_numpy()[family]
    rows = _with_corrections(rng, scene, lines, rows, fixed)
    rows = rows.sort_values(["received", "line", "entry", "void"], ignore_index=True)
    line = column(rows, "line")
    family = column(lines, "family")[line]
    void = rows["void"].to_numpy()
    kept = np.where(void, BLANK, 0)
    of_family = np.bincount(column(lines, "family"), minlength=len(homes))
    alone = (of_family[family] == 1) & (column(rows, "day") < column(lines, "end")[line])
    by_family = alone & (column(rows, "entry") % 31 == 5)
    both = alone & (column(rows, "entry") % 29 == 3)
    minute = column(rows, "minute")
    done = column(rows, "day") * _DAY + np.where(minute == BLANK, 0, minute)
    ids = numbered("E", column(homes, "number")[family], scene.width, column(rows, "entry"))
    unnumbered = ~homes["numbered"].to_numpy()[family]
    position = np.arange(len(rows))

    def shown(name: str) -> Ints:
        return np.where(void, BLANK, column(rows, name))

    frame = pd.DataFrame(
        {
            "entry_id": texts(ids, np.where(unnumbered, BLANK, position)),
            "line_id": texts(names.lines, np.where(void | by_family, BLANK, line)),
            "family_id": texts(names.families, np.where(~void & (by_family | both), family, BLANK)),
            "caregiver_id": texts(names.caregivers, shown("caregiver")),
            "done_at": instants(np.where(kept == BLANK, BLANK, done)),
            "kind": categories(EntryKind, shown("kind")),
            "change_reason": categories(ChangeReason, shown("reason")),
            "dressing_type": categories(DressingType, shown("put_on")),
            "dressing_condition": categories(DressingCondition, shown("condition")),
            "findings": texts(FINDING_TEXTS, shown("findings")),
            "steps_missed": texts(STEP_TEXTS, shown("steps")),
            "kits_left": counts(shown("kits")),
            "note": texts(habits.NOTES, shown("note")),
        }
    )
    return _received(scene, frame, column(rows, "received"), void, "home_log")


def _with_corrections(
    rng: np.random.Generator, scene: Scene, lines: pd.DataFrame, rows: pd.DataFrame, fixed: Bools
) -> pd.DataFrame:
    """A slip sent first and the right entry later; an entry sent twice and one withdrawn."""
    n = len(rows)
    day, line = column(rows, "day"), column(rows, "line")
    free = ~fixed & (day < scene.until - 12) & (column(rows, "sure") == 0)
    wrong = free & (rng.random(n) < 0.006) & (day > column(lines, "home")[line])
    slip = rows[wrong].copy()
    other_day = rng.random(len(slip)) < 0.5
    slip["day"] = column(slip, "day") - other_day
    slip["findings"] = np.where(other_day, column(slip, "findings"), BLANK)
    slip["note"] = np.where(other_day, slip["note"], (slip["note"] + 1) % len(habits.NOTES))
    late = between(rng, _DAY, 4 * _DAY, n)
    right = rows.assign(received=column(rows, "received") + np.where(wrong, late, 0), void=False)
    twice = free & ~wrong & (rng.random(n) < 0.0015)
    copy = rows[twice].copy()
    copy["entry"] = column(copy, "entry") + 50_000
    copy["received"] = column(copy, "received") + 3
    back = copy.copy()
    back["received"] = column(back, "received") + between(rng, 60, 2 * _DAY, len(back))
    parts = [right, slip.assign(void=False), copy.assign(void=False), back.assign(void=True)]
    return pd.concat(parts, ignore_index=True)


def _received(
    scene: Scene, frame: pd.DataFrame, received: Ints, void: Bools, table: str
) -> pd.DataFrame:
    """Add the moment of receipt, leave out what has not come yet, in order of receipt.

    A catalogued column of which nothing is invented is blank.
    """
    entry = INCOMING[table]
    blank = entry.empty().reindex(frame.index)
    frame = frame.assign(**{n: blank[n] for n in entry.names if n not in frame})[entry.names]
    frame = frame.assign(received_at=instants(received), void=void)
    come = received < scene.until * _DAY
    keep = np.flatnonzero(come)
    keep = keep[np.argsort(received[keep], kind="stable")]
    out = frame.iloc[keep].reset_index(drop=True)
    for each in entry.columns:
        assert str(out[each.name].dtype) == each.dtype, f"{table}.{each.name}"
    return out
