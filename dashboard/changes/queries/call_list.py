"""What has changed on the call list: families new on it or gone, red flags, calls of others?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pandas as pd

from analysis.decisions.asked import families_asked, speaks
from analysis.snapshot import Snapshot
from analysis.vocabulary import CallOutcome, Reason
from dashboard.addresses.calls import Choice
from dashboard.changes.queries import State, changes_since
from dashboard.changes.views import Change, Changes, Kind
from dashboard.family_lists.queries import allowed, asked_for
from dashboard.layout import words
from dashboard.layout.words import BANDS_TO_CALL
from dashboard.security.roles import Page
from dashboard.session.frames import cells, is_one, natural
from dashboard.session.session import Session

PAGE = "calls"
"""The call list and the list of all families show the same families: a look at one is a look at
both."""
Address = Callable[[str], str]


def changes_of_calls(
    session: Session,
    choice: Choice,
    address: Address,
    *,
    opens: bool = False,
    marks: bool = False,
    looks: bool = True,
) -> Changes:
    """What changed among the families of a choice since this person last looked.

    Parameters
    ----------
    session : Session
        Of this request.
    choice : Choice
        Its site, nurse and language count.
    address : callable
        Where a family is shown, by its code.
    opens : bool
        It is shown on the same page.
    marks, looks : bool
        As for `changes_since`.
    """
    found = session.snapshot()
    choice = allowed(session.reader, choice)
    now = session.cached("what the call list shows", lambda: _state(found))

    def kinds(changed: _Changed, since: datetime) -> list[Kind]:
        own = _families_of(found, choice)
        own_acts = _changed_by(found, session.reader.code, since)

        def those(families: list[str]) -> list[str]:
            return [family for family in families if own is None or family in own]

        def change(family: str, text: str = "") -> Change:
            return Change(family, address(family), text, opens=opens)

        flagged, new = those(changed.flagged), those(changed.new)
        left = [family for family in those(changed.left) if family not in own_acts]
        reasons = red_flags(session, choice)
        places = session.cached("places of families", lambda: _places(found))
        calls = _calls_of_others(session, found, changed.call) if _sees_calls(session) else []
        calls = [call for call in calls if own is None or call[0] in own]
        return [
            Kind(
                words.counted(len(flagged), "new red flag", "new red flags"),
                tuple(change(f, reasons[f][1] if f in reasons else "") for f in flagged),
                urgent=True,
            ),
            Kind(
                f"{words.counted(len(new), 'family', 'families')} new on the list",
                tuple(change(f) for f in new),
            ),
            Kind(
                f"{words.counted(len(left), 'family', 'families')} no longer to call",
                tuple(change(f, places.get(f, "")) for f in left),
            ),
            Kind(
                f"{words.counted(len(calls), 'call', 'calls')} by others",
                tuple(change(f, text) for f, text in calls),
            ),
        ]

    def compare(before: State) -> _Changed:
        return _changed(now, before)

    return changes_since(session, PAGE, now, compare, kinds, marks=marks, looks=looks)


@dataclass(frozen=True)
class _Changed:
    """Families of all sites of a person that are listed otherwise than before, by their codes."""

    flagged: list[str]
    """With a newer red flag."""
    new: list[str]
    """New on the list, without one."""
    left: list[str]
    call: int
    """The newest call before."""


def _changed(now: State, before: State) -> _Changed:
    flagged = {f for f, row in now["flags"].items() if row > before["flags"].get(f, -1)}
    new = now["bands"].keys() - before["bands"].keys() - flagged
    left = before["bands"].keys() - now["bands"].keys()
    flags, came, went = (sorted(some, key=natural) for some in (flagged, new, left))
    return _Changed(flags, came, went, before["call"])


def red_flags(session: Session, choice: Choice) -> dict[str, tuple[int, str]]:
    """Families of a choice with a red flag: its newest log entry, and the reason in words."""
    found = session.snapshot()
    flags = session.cached("red flags", lambda: _red_flags(session, found))
    own = _families_of(found, allowed(session.reader, choice))
    return flags if own is None else {f: flag for f, flag in flags.items() if f in own}


def _red_flags(session: Session, found: Snapshot) -> dict[str, tuple[int, str]]:
    flags = session.cached("what the call list shows", lambda: _state(found))["flags"]
    reasons = _first_reasons(found, list(flags))
    return {family: (row, reasons.get(family, "")) for family, row in flags.items()}


def _state(found: Snapshot) -> dict[str, Any]:
    """Families to call with their bands, the newest entry of each red flag, and the newest call."""
    families = found.calls.families
    listed = families[families["band"].isin(BANDS_TO_CALL).to_numpy(dtype=bool)]
    proof = found.calls.evidence
    proof = proof[(proof["reason"] == Reason.RED_FLAG).to_numpy(dtype=bool)]
    proof = proof[proof["family_id"].isin(listed["family_id"]).to_numpy(dtype=bool)]
    newest = proof.groupby(proof["family_id"].astype("object"))["row"].max()
    calls = found.records.calls["row"]
    return {
        "bands": {str(f): str(band) for f, band in cells(listed, "family_id", "band")},
        "flags": {str(family): int(row) for family, row in newest.items()},
        "call": int(calls.max()) if len(calls) else 0,
    }


def _families_of(found: Snapshot, choice: Choice) -> frozenset[str] | None:
    """Families of a site, nurse and language; None: all."""
    if not any((choice.site, choice.of_nurse, choice.language)):
        return None
    lines = found.timeline.lines
    of_place = is_one(lines["site"], choice.site) & is_one(lines["nurse"], choice.of_nurse)
    families = lines.loc[of_place, "family_id"].drop_duplicates()
    if choice.language is not None:
        families = families[speaks(families, found.records, choice.language)]
    listed = families_asked(found.calls, found.records, asked_for(choice))["family_id"]
    return frozenset(families) | frozenset(listed)


def _changed_by(found: Snapshot, who: str, since: datetime) -> set[str]:
    """Families to which a person recorded a call, or postponed them, since a moment."""
    at = pd.Timestamp(since.astimezone(UTC)).tz_localize(None)
    records = found.records
    changed: set[str] = set()
    for made, by, when in (
        (records.calls, "called_by", "called_at"),
        (records.arrangements, "made_by", "made_at"),
    ):
        since_then = made[made[when].to_numpy() >= at.to_datetime64()]
        changed |= {family for family, one in cells(since_then, "family_id", by) if one == who}
    return changed


def _first_reasons(found: Snapshot, families: list[str]) -> dict[str, str]:
    reasons = found.calls.reasons
    own = reasons[reasons["family_id"].isin(families).to_numpy(dtype=bool)]
    first = own.drop_duplicates("family_id")
    return {f: words.sentence(text) for f, text in cells(first, "family_id", "sentence")}


def _places(found: Snapshot) -> dict[str, str]:
    """Where families are that are on the list and not to call."""
    families = found.calls.families
    resting = families[~families["band"].isin(BANDS_TO_CALL).to_numpy(dtype=bool)]
    return {
        f: words.BANDS[band].title.lower()
        for f, band in cells(resting, "family_id", "band")
        if band in words.BANDS
    }


def _outcome(outcome: object) -> str:
    return "reached the family" if outcome == CallOutcome.REACHED else "no answer"


def _sees_calls(session: Session) -> bool:
    return session.may_open(Page.CALLS)


def _calls_of_others(session: Session, found: Snapshot, newest: int) -> list[tuple[str, str]]:
    """Calls recorded after a row by other people, newest first: family, and who, when, outcome."""
    calls = found.records.calls
    later = calls[calls["row"].to_numpy() > newest]
    if later.empty:
        return []
    made = later[(later["called_by"] != session.reader.code).to_numpy(dtype=bool, na_value=False)]
    made = made.sort_values(["called_at", "row"], ascending=False)
    at = made["called_at"].dt.tz_localize("UTC").dt.tz_convert(found.policy.zone)
    names = ("family_id", "called_by", "outcome", "called_at")
    return [
        (
            str(family),
            f"{by}, {words.since(moment, session.now())}: {_outcome(outcome)}",
        )
        for family, by, outcome, moment in cells(made.assign(called_at=at), *names)
    ]
