"""Which training sessions may this person see, who is invited to them, and with which evidence?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.decisions.practice import NO_SIGN_OFF
from analysis.decisions.training_sessions import attendance
from analysis.snapshot import Snapshot
from analysis.tables.codes import is_among
from analysis.vocabulary import NeedState, SessionState
from dashboard.layout.words import counted
from dashboard.retraining.queries.handout_words import Translations
from dashboard.retraining.queries.needs import step_name
from dashboard.retraining.queries.training import SURENESS, Training
from dashboard.retraining.session_views import Handout, Invited, Session, Step
from dashboard.retraining.words import evidence_words
from dashboard.session.families import how_to_reach
from dashboard.session.frames import cells, codes, day, of

MOST_CANDIDATES = 60
MOST_BEFORE = 3
"""Steps shown of a caregiver who was retrained lately."""
ASKED = (NeedState.RETRAIN, NeedState.WATCH, NeedState.TOO_EARLY)
"""States of what is trained: those to retrain, and those whose refresher is not judged yet."""
Person = tuple[str, str | None]
"""A family, and its caregiver where one is named."""


def visible(found: Snapshot, sessions: pd.DataFrame, code: str) -> tuple[Session, ...]:
    """Sessions with a family that the person may see, or that they planned themselves."""
    known = frozenset(found.timeline.families["family_id"])
    came = attendance(sessions, found.records)
    given = came[came["outcome"].notna().to_numpy(dtype=bool)]
    people = {
        name: table.groupby("session")["caregiver_id"].nunique()
        for name, table in (("invited", came), ("marked", given))
    }
    theirs = _families_of(
        found, [c for (each,) in cells(sessions, "caregiver_ids") for c in codes(each)]
    )
    names = (
        *("session", "row", "state", "held_on", "starts_at", "venue", "language", "skills"),
        *("held_by", "made_by", "family_ids", "caregiver_ids"),
    )
    shown = []
    for number, row, state, on, at, venue, language, *lists in cells(sessions, *names):
        skills, held_by, made_by, families, caregivers = lists
        own = tuple(f for f in codes(families) if f in known)
        if not own and made_by != code:
            continue
        shown.append(
            Session(
                number=int(number),
                row=int(row),
                cancelled=state == SessionState.CANCELLED,
                held_on=on.date(),
                starts_at=at,
                venue=venue,
                language=language,
                skills=codes(skills),
                held_by=codes(held_by),
                made_by=made_by,
                family_ids=own,
                caregiver_ids=tuple(c for c in codes(caregivers) if theirs.get(c) in known),
                others=len(codes(families)) - len(own),
                marked=int(people["marked"].get(number, 0)),
                invited=int(people["invited"].get(number, 0)),
            )
        )
    return tuple(shown)


def _families_of(found: Snapshot, caregivers: Sequence[str]) -> dict[str, str]:
    """Family of each of some caregivers."""
    people = found.records.caregivers
    named = people[is_among(people["caregiver_id"], list(caregivers))]
    return dict(cells(named, "caregiver_id", "family_id"))


def candidates(training: Training, site: str | None) -> tuple[Person, ...]:
    """Caregivers who likely need retraining, the most certain first."""
    needs = training.needs
    likely = needs[needs["sureness"].isin(SURENESS[:2]).to_numpy(dtype=bool)]
    people = dict.fromkeys(
        (family, caregiver)
        for family, caregiver, sites in cells(likely, "family_id", "caregiver_id", "site")
        if site is None or site in codes(sites)
    )
    return tuple(people)[:MOST_CANDIDATES]


def people_of(found: Snapshot, session: Session) -> tuple[Person, ...]:
    """Who is invited: caregivers, and families for which none is named."""
    theirs = _families_of(found, session.caregiver_ids)
    named = [(theirs[c], c) for c in session.caregiver_ids if c in theirs]
    with_name = {family for family, _ in named}
    return (*named, *((f, None) for f in session.family_ids if f not in with_name))


def everybody_of(found: Snapshot, session: Session) -> tuple[Person, ...]:
    """Who may have come: of a family invited as a whole all its caregivers."""
    people: list[Person] = []
    for family, caregiver in people_of(found, session):
        own = of(found.records.caregivers, "family_id", family)["caregiver_id"]
        people += [(family, c) for c in ([caregiver] if caregiver else sorted(map(str, own)))]
    return tuple(sorted(dict.fromkeys(people)))


def invited_rows(
    found: Snapshot,
    training: Training,
    people: Iterable[Person],
    sessions: Iterable[Session],
    *,
    chosen: frozenset[Person] = frozenset(),
    this: Session | None = None,
) -> tuple[Invited, ...]:
    """Rows of people, with the evidence and the other sessions that they are invited to."""
    evidence = Evidence(training)
    others = [s for s in sessions if not s.cancelled and (this is None or s.number != this.number)]
    ahead = [s for s in others if s.held_on >= found.as_of]
    day_of = None if this is None else this.held_on
    return tuple(
        Invited(
            family,
            caregiver,
            _about(found, family, caregiver),
            # Of a caregiver without own evidence that of the entries that name nobody.
            evidence.steps(family, caregiver) or evidence.steps(family, None),
            (family, caregiver) in chosen,
            tuple(s.held_on for s in ahead if s.invites(family, caregiver)),
            {} if day_of is None else outcomes(found, caregiver, day_of),
        )
        for family, caregiver in people
    )


def _about(found: Snapshot, family: str, caregiver: str | None) -> str:
    lines = of(found.timeline.lines, "family_id", family)
    sites = sorted(set(lines.loc[lines["end_on"].isna(), "site"].astype(str)))
    relation = _relation(found, caregiver)
    return ", ".join([*([relation] if relation else []), *sites])


def _relation(found: Snapshot, caregiver: str | None) -> str | None:
    if caregiver is None:
        return None
    known = of(found.records.caregivers, "caregiver_id", caregiver)["relation"].dropna()
    return str(known.iloc[0]).replace("_", " ") if len(known) else None


class Evidence:
    """What was missed, step by step, looked up by person."""

    def __init__(self, training: Training) -> None:
        self._found = training.found
        facts = training.facts
        facts = facts[(facts["step"] == NO_SIGN_OFF).to_numpy(dtype=bool)]
        names = ("family_id", "caregiver_id", "step", "state", "seen", "missed", "recent_from")
        before = ("seen_before", "missed_before")
        own: dict[Person, list[tuple[Any, ...]]] = {}
        for table in (training.needs, facts):  # the most certain first, then missing sign-offs
            asked = table[table["state"].isin(ASKED).to_numpy(dtype=bool)]
            for family, caregiver, *rest in cells(asked, *names, *before):
                own.setdefault((family, caregiver), []).append(tuple(rest))
        self._own = own

    def steps(self, family: str, caregiver: str | None) -> tuple[Step, ...]:
        """The steps to train with one person, and what the own log shows of each."""
        rows = self._own.get((family, caregiver), [])
        recent = [row for row in rows if row[1] == NeedState.RETRAIN]
        if recent:
            counts = [
                (step, missed, seen, day(since)) for step, _, seen, missed, since, *_ in recent
            ]
        else:  # retrained lately: what was missed most often before
            before = [(step, missed, seen, None) for step, *_, seen, missed in rows if missed]
            before.sort(key=lambda one: one[1] / one[2], reverse=True)
            counts = [*before[:MOST_BEFORE]]
        return tuple(self._step(*one) for one in counts)

    def _step(self, step: str, missed: int, seen: int, since: date | None) -> Step:
        name, as_of = step_name(self._found, step), self._found.as_of
        words = evidence_words(step, missed, seen, since, as_of=as_of)
        return Step(step, name, missed, seen, since, words)


def outcomes(found: Snapshot, caregiver: str | None, on: date) -> dict[str, str]:
    """How the refreshers of a day went, by skill."""
    if caregiver is None:
        return {}
    shown = of(found.records.sign_offs, "caregiver_id", caregiver)
    same = (shown["signed_on"] == pd.Timestamp(on)) & (shown["kind"] == "refresher")
    mine = shown[same.fillna(value=False).to_numpy(dtype=bool)]
    return {str(skill): str(outcome) for skill, outcome in cells(mine, "skill", "outcome")}


def handouts(
    training: Training, session: Session, files: Iterable[Path], *, language: bool
) -> tuple[tuple[Handout, ...], tuple[str, ...]]:
    """A sheet for each person invited, and what to know of their languages.

    Parameters
    ----------
    training, session
        Of the present moment.
    files : iterable of Path
        Texts that the programme translated.
    language : bool
        Whether the reader may see in which language a family speaks.
    """
    found, evidence = training.found, Evidence(training)
    texts = Translations.of(files, found.edition)
    sheets, missing = [], Counter[str]()
    for family, caregiver in people_of(found, session):
        spoken = session.language or (how_to_reach(found, family)[1] if language else None)
        words = texts.words(spoken)
        if words is None:
            missing[spoken or ""] += 1
        steps = evidence.steps(family, caregiver)
        sheets.append((words or texts.english).sheet(session, family, caregiver, steps))
    notes = [
        f"{counted(n, 'hand-out is', 'hand-outs are')} in English, because no texts are translated "
        f"for the language {name}: 'linedays serve --texts FILE' adds them."
        for name, n in missing.items()
    ]
    return tuple(sheets), (*notes, *texts.faults)
