"""Who was signed off for what, when, and was it refreshed in time?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.vocabulary import LineType, SignOffKind, SignOffOutcome, Skill
from synthetic_data import habits
from synthetic_data.draws import Ints, between, code, column, ensure_each, pick
from synthetic_data.scene import Scene

_FIRST, _REFRESHER = code(SignOffKind.FIRST), code(SignOffKind.REFRESHER)
_ALONE, _HELPED = code(SignOffOutcome.INDEPENDENT), code(SignOffOutcome.WITH_HELP)


def sign_offs(
    rng: np.random.Generator,
    scene: Scene,
    people: pd.DataFrame,
    lines: pd.DataFrame,
    refreshed: tuple[Ints, int],
) -> pd.DataFrame:
    """One row a return demonstration: caregiver, skill, day, outcome, kind.

    `refreshed` are caregivers with a planted refresher, and its day.
    """
    who = np.flatnonzero(people["signs"].to_numpy())
    ready = column(people, "acts_from")[who] - between(rng, 1, 8, who.size)
    dressing = np.full(who.size, code(Skill.DRESSING_CHANGE))
    parts = [_rows(who, dressing, ready, _ALONE, _FIRST)]
    slow = rng.random(who.size) < 0.12
    outcome = pick(rng, who.size, {_HELPED: 3, code(SignOffOutcome.NOT_YET): 1})
    before = ready - between(rng, 3, 9, who.size)
    parts.append(_rows(who[slow], dressing[slow], before[slow], outcome[slow], _FIRST))
    for skill, share in ((Skill.CONNECTOR_CHANGE, 0.6), (Skill.FLUSH, 0.8)):
        some = rng.random(who.size) < share
        parts.append(_rows(who[some], np.full(int(some.sum()), code(skill)), ready[some],
                           _ALONE, _FIRST))  # fmt: skip
    ports = lines.loc[lines["type"] == code(LineType.IMPLANTED_PORT), "family"]
    at_port = people["family"].isin(ports).to_numpy()[who]
    needle = np.full(int(at_port.sum()), code(Skill.NEEDLE_CHANGE))
    parts.append(_rows(who[at_port], needle, ready[at_port], _ALONE, _FIRST))
    parts += _refreshers(rng, scene, who, ready)
    person, day = refreshed
    skill_code = np.full(person.size, code(Skill.DRESSING_CHANGE))
    parts.append(_rows(person, skill_code, np.full(person.size, day), _ALONE, _REFRESHER))
    out = pd.concat(parts, ignore_index=True)
    gone = _followed_until(scene, people, lines)
    out = out[column(out, "day") < gone[column(out, "caregiver")]]
    out = out.drop_duplicates(["caregiver", "skill", "day"]).reset_index(drop=True)
    result = column(out, "outcome")
    ensure_each(rng, result, SignOffOutcome, (out["kind"] == _REFRESHER).to_numpy())
    return out.assign(outcome=result).sort_values(["day", "caregiver", "skill"], ignore_index=True)


def _rows(who: Ints, skill: Ints, day: Ints, outcome: Ints | int, kind: int) -> pd.DataFrame:
    return pd.DataFrame(
        {"caregiver": who, "skill": skill, "day": day, "outcome": outcome, "kind": kind}
    )


def _refreshers(
    rng: np.random.Generator, scene: Scene, who: Ints, last: Ints
) -> list[pd.DataFrame]:
    """Yearly refreshers, until one is forgotten."""
    parts = []
    while who.size:
        due = last + between(rng, 300, 358, who.size)
        kept = (due < scene.until) & (rng.random(who.size) < habits.REFRESHED_IN_TIME)
        who, last = who[kept], due[kept]
        skill = np.full(who.size, code(Skill.DRESSING_CHANGE))
        with_help = rng.random(who.size) < 0.06
        parts.append(_rows(who, skill, last, np.where(with_help, _HELPED, _ALONE), _REFRESHER))
        last = last + np.where(with_help, 5, 0)
        again = with_help
        parts.append(_rows(who[again], skill[again], last[again], _ALONE, _REFRESHER))
    return parts


def _followed_until(scene: Scene, people: pd.DataFrame, lines: pd.DataFrame) -> Ints:
    family = column(people, "family")
    last = np.zeros(int(family.max()) + 1 if family.size else 0, dtype=np.int64)
    np.maximum.at(last, column(lines, "family"), np.minimum(column(lines, "end"), scene.until))
    return last[family]
