"""Who makes a family's next call, until when is it postponed, and is the form usable?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from analysis.decisions.asked import arrangements_in_force
from analysis.snapshot import Snapshot
from analysis.vocabulary import Access, Arrangement, Band
from dashboard.call_actions.views import Arranged
from dashboard.call_state.views import CallRow
from dashboard.session.forms import Form, FormError
from dashboard.session.frames import cells, day, distinct, of

LONGEST_POSTPONEMENT_DAYS = 31
MOST_REASON_CHARACTERS = 200
ACCESS: Mapping[Arrangement, Access] = {
    Arrangement.ASSIGNED: Access.ASSIGNED_FAMILY,
    Arrangement.SET_ASIDE: Access.SET_FAMILY_ASIDE,
}


@dataclass(frozen=True)
class ArrangeForm(Form):
    """An arrangement as typed in. `form` tells one form from another."""

    form: object
    family_id: object
    kind: object
    assigned_to: object
    until_on: object
    reason: object


def kind_of(kind: object) -> Arrangement:
    """What is arranged.

    Raises
    ------
    FormError
        It is neither of the two.
    """
    known = {str(k): k for k in Arrangement}
    if not isinstance(kind, str) or kind not in known:
        raise FormError("Reload the page and choose again whether to assign or postpone.")
    return known[kind]


def callers(found: Snapshot, own_code: str) -> tuple[str, ...]:
    """Who a family can be assigned to: nurses with a caseload, others assigned, and oneself."""
    home = found.timeline.lines[found.timeline.lines["at_home"]]
    given = found.calls.families["assigned_to"]
    return distinct(pd.concat([home["nurse"], given, pd.Series([own_code], dtype="string")]))


def caller(assigned_to: object, people: tuple[str, ...]) -> str:
    """Who makes the next call.

    Raises
    ------
    FormError
        Nobody known was chosen.
    """
    if not isinstance(assigned_to, str) or assigned_to not in people:
        raise FormError("Choose who makes the next call.", "assigned_to")
    return assigned_to


def may_rest(row: CallRow) -> None:
    """Go on only for a family without an unanswered red flag.

    Raises
    ------
    FormError
        It has one.
    """
    if row.band == Band.SAME_DAY_REVIEW:
        raise FormError(
            f"{row.family_id} can't be postponed: only a call that reaches the family clears a red "
            "flag."
        )


def reason_text(text: object) -> str:
    """Why it is postponed.

    Raises
    ------
    FormError
        Nothing is written, or too much.
    """
    reason = " ".join(str(text or "").split())
    if not reason:
        raise FormError("Enter a reason for postponing the family.", "reason")
    if len(reason) > MOST_REASON_CHARACTERS:
        raise FormError(f"Shorten the reason to {MOST_REASON_CHARACTERS} characters.", "reason")
    return reason


def arranged(found: Snapshot, family_id: str) -> tuple[Arranged, ...]:
    """The assignment and the postponement of a family that are in force, newest first."""
    own: dict[str, Any] = {
        name: of(getattr(found.records, name), "family_id", family_id)
        for name in ("arrangements", "calls")
    }
    if own["arrangements"].empty:
        return ()
    made = arrangements_in_force(found.calls, replace(found.records, **own))
    at = made["made_at"].dt.tz_localize("UTC").dt.tz_convert(found.policy.zone)
    names = ("row", "made_at", "made_by", "kind", "assigned_to", "until_on", "why")
    return tuple(
        Arranged(int(row), moment.to_pydatetime(), by, str(kind), to, day(until), reason)
        for row, moment, by, kind, to, until, reason in cells(made.assign(made_at=at), *names)
    )
