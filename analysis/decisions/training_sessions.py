"""Can a training session be planned as written, and who came to it?"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date, timedelta

import pandas as pd

from analysis.tables.records import Records
from analysis.tables.training_sessions import SESSION_ATTENDANCE, SessionPlan
from analysis.vocabulary import SessionState, SignOffKind, Skill

FURTHEST_DAYS = 366
"""A session lies at most so many days in the past or future."""
MOST_CHARACTERS = 200
_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d")


class SessionError(Exception):
    """A session cannot be planned as written; `field` names what to correct."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


def checked(plan: SessionPlan, records: Records, today: date) -> SessionPlan:
    """Return the plan with the families of the caregivers named, if it can be stored.

    Parameters
    ----------
    plan : SessionPlan
        As written; codes in any order, repeated ones are dropped.
    records : Records
        Gives the known caregivers and families.
    today : date
        In the programme's zone.

    Raises
    ------
    SessionError
        A field does not fit, and how to correct it.
    """
    first, last = today - timedelta(days=FURTHEST_DAYS), today + timedelta(days=FURTHEST_DAYS)
    if not first <= plan.held_on <= last:
        raise SessionError("held_on", f"Choose a day from {first} to {last}.")
    if plan.starts_at is not None and not _TIME.fullmatch(plan.starts_at):
        raise SessionError("starts_at", "Enter the time as hours and minutes, such as 10:00.")
    for name in ("venue", "language"):
        if len(getattr(plan, name) or "") > MOST_CHARACTERS:
            raise SessionError(name, f"Shorten it to {MOST_CHARACTERS} characters.")
    if not plan.skills:
        raise SessionError("skills", "Choose at least one skill.")
    _all_known("skills", plan.skills, [str(skill) for skill in Skill])
    if any(len(code) > MOST_CHARACTERS for code in plan.held_by):
        raise SessionError("held_by", "Enter staff codes, separated by commas.")
    people = records.caregivers.drop_duplicates("caregiver_id").set_index("caregiver_id")
    _all_known("caregiver_ids", plan.caregiver_ids, people.index)
    _all_known("family_ids", plan.family_ids, records.lines["family_id"].unique())
    theirs = people["family_id"].reindex(list(plan.caregiver_ids))
    families = _once([*plan.family_ids, *map(str, theirs)])
    if not families:
        raise SessionError("caregiver_ids", "Invite at least one family or caregiver.")
    caregivers = _once(plan.caregiver_ids)
    return replace(plan, skills=_once(plan.skills), family_ids=families, caregiver_ids=caregivers)


def _all_known(field: str, given: Collection[str], known: Iterable[str]) -> None:
    unknown = sorted(set(given) - set(known))
    if unknown:
        raise SessionError(field, f"Not known: {', '.join(unknown)}. Correct or remove it.")


def _once(codes: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(codes))


def attendance(sessions: pd.DataFrame, records: Records) -> pd.DataFrame:
    """List who was invited to sessions that take place, and the refreshers of that day.

    Of a family that was invited without naming a caregiver all caregivers are listed.

    Parameters
    ----------
    sessions : DataFrame
        Columns of `TRAINING_SESSIONS`.
    records : Records
        The refreshers are in its sign-offs.

    Returns
    -------
    DataFrame
        Columns of `SESSION_ATTENDANCE`, by day, session, family, caregiver and skill.
    """
    own = sessions[(sessions["state"] == SessionState.PLANNED).to_numpy(dtype=bool)]
    people = records.caregivers[["family_id", "caregiver_id"]].drop_duplicates("caregiver_id")
    named = _each(own, "caregiver_ids", "caregiver_id").merge(people, on="caregiver_id")
    families = _each(own, "family_ids", "family_id")
    with_names = named[["session", "family_id"]].drop_duplicates().assign(named=True)
    families = families.merge(with_names, on=["session", "family_id"], how="left")
    whole = families[families["named"].isna().to_numpy(dtype=bool)].drop(columns="named")
    invited = pd.concat([named, whole.merge(people, on="family_id")], ignore_index=True)
    invited = invited.merge(_each(own, "skills", "skill"), on="session")
    invited = invited.merge(own[["session", "held_on"]], on="session")
    shown = records.sign_offs
    given = shown[(shown["kind"] == SignOffKind.REFRESHER).fillna(value=False).to_numpy(dtype=bool)]
    given = given[["caregiver_id", "skill", "signed_on", "outcome"]].astype({"skill": "string"})
    keys = {"held_on": "signed_on", "caregiver_id": "caregiver_id", "skill": "skill"}
    found = invited.merge(given, left_on=list(keys), right_on=list(keys.values()), how="left")
    found = found.astype({"skill": str(SESSION_ATTENDANCE["skill"].dtype), "outcome": "category"})
    order = ["held_on", "session", "family_id", "caregiver_id", "skill"]
    return SESSION_ATTENDANCE.check(found.sort_values(order, ignore_index=True))


def _each(sessions: pd.DataFrame, column: str, name: str) -> pd.DataFrame:
    """One row a session and code of a column of codes."""
    codes = sessions[column].astype("object").str.split(";").explode().dropna()
    found = pd.DataFrame({"session": sessions["session"].reindex(codes.index), name: codes})
    return found.reset_index(drop=True).astype({"session": "int64", name: "string"})
