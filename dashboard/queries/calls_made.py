"""What is typed into the form of a call, does it fit, and what was recorded before?"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, timedelta

from analysis.snapshot import Snapshot
from dashboard.queries.frames import cells, of
from dashboard.views import CallMade

MOST_CHARACTERS = 2_000
MOST_CHARACTERS_OF_A_KEY = 64
LONGEST_WAIT_DAYS = 92


class FormError(Exception):
    """What a reader typed or asked for does not fit; one sentence that says how to mend it."""


@dataclass(frozen=True)
class CallForm:
    """A call as typed in; nothing in it is trusted. `form` tells one form from another."""

    form: object
    family_id: object
    reached: object
    agreed: object
    recheck_on: object

    @classmethod
    def of(cls, given: object) -> CallForm:
        """Take the fields out of what the page sent; absent ones are None."""
        known = given if isinstance(given, dict) else {}
        return cls(**{f.name: known.get(f.name) for f in fields(cls)})


def form_key(given: object) -> str:
    """What tells one form from another, as the page gave it out.

    Raises
    ------
    FormError
        It is nothing that a page gives out.
    """
    if not isinstance(given, str) or not 0 < len(given) <= MOST_CHARACTERS_OF_A_KEY:
        raise FormError("This form is not from the page as it is now. Reload the page.")
    return given


def was_reached(answer: object) -> bool:
    """Whether somebody was reached.

    Raises
    ------
    FormError
        The question was not answered.
    """
    if answer not in ("yes", "no"):  # a set would ask for its hash
        raise FormError("Say whether somebody was reached.")
    return answer == "yes"


def agreed_text(text: object) -> str | None:
    """What was agreed; None when nothing was written.

    Raises
    ------
    FormError
        The text is too long.
    """
    agreed = str(text or "").strip()
    if len(agreed) > MOST_CHARACTERS:
        raise FormError(f"Shorten what was agreed to {MOST_CHARACTERS} characters.")
    return agreed or None


def recheck_day(text: object, as_of: date) -> date:
    """Day from which the family is listed again.

    Raises
    ------
    FormError
        It is no date, lies before the as-of day, or too far ahead.
    """
    last = as_of + timedelta(days=LONGEST_WAIT_DAYS)
    try:
        day = date.fromisoformat(str(text))
    except ValueError:
        raise FormError(
            f"Write the day to list the family again as a date, such as {as_of.isoformat()}."
        ) from None
    if not as_of <= day <= last:
        raise FormError(
            f"Choose a day to list the family again from {as_of.isoformat()} to {last.isoformat()}."
        )
    return day


def calls_made(found: Snapshot, family_id: str) -> tuple[CallMade, ...]:
    """Calls recorded to a family and not taken back, newest first."""
    calls = of(found.records.calls, "family_id", family_id)
    calls = calls.sort_values(["made_at", "row"], ascending=False)
    at = calls["made_at"].dt.tz_localize("UTC").dt.tz_convert(found.policy.zone)
    names = ("row", "made_on", "made_by", "reached", "agreed", "recheck_on", "made_at")
    return tuple(
        CallMade(int(row), on.date(), by, bool(reached), agreed, recheck.date(), at)
        for row, on, by, reached, agreed, recheck, at in cells(calls.assign(made_at=at), *names)
    )
