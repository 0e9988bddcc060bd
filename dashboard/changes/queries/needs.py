"""What has changed of who needs retraining on which step?"""

from __future__ import annotations

from datetime import datetime

from analysis.decisions.practice import NO_SIGN_OFF
from analysis.reports.educator import step_words
from analysis.snapshot import Snapshot
from analysis.vocabulary import NeedState
from dashboard.addresses.retraining import NeedsChoice, write_needs
from dashboard.changes.queries import State, changes_since
from dashboard.changes.views import Change, Changes, Kind
from dashboard.layout import words
from dashboard.session.frames import cells, natural
from dashboard.session.session import Session

PAGE = "retraining"


def changes_of_needs(session: Session, *, marks: bool = False) -> Changes:
    """Who newly needs retraining and who no longer does, since this person last looked."""
    found = session.snapshot()
    now = session.cached("what retraining shows", lambda: _state(found), lasting=True)

    def compare(before: State) -> list[Kind]:
        ways = (
            ("{} more to retrain", set(now) - set(before)),
            ("{} no longer", set(before) - set(now)),
        )
        return [
            Kind(
                way.format(words.counted(len(needs), "caregiver and step", "caregivers and steps")),
                tuple(_change(found, need) for need in sorted(needs, key=natural)),
            )
            for way, needs in ways
        ]

    def kinds(compared: list[Kind], _: datetime) -> list[Kind]:
        return compared

    return changes_since(session, PAGE, now, compare, kinds, marks=marks)


def _state(found: Snapshot) -> dict[str, int]:
    """Family, caregiver and step of each need, as one text."""
    needs = found.retraining
    due = (needs["state"] == NeedState.RETRAIN) & (needs["step"] != NO_SIGN_OFF)
    names = ("family_id", "caregiver_id", "step")
    return {
        "\t".join("" if part is None else str(part) for part in need): 1
        for need in cells(needs[due.to_numpy(dtype=bool)], *names)
    }


def _change(found: Snapshot, need: str) -> Change:
    family, caregiver, step = need.split("\t")
    name = step_words(step, found.edition)
    who = f"caregiver {caregiver}" if caregiver else "caregiver not named"
    opened = NeedsChoice(family_id=family, caregiver_id=caregiver or None, need=step)
    return Change(family, write_needs(opened), f"{who}: {name}")
