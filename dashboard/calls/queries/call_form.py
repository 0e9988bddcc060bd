"""Is a call that was typed in complete and usable?"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date, timedelta

from dashboard.session.forms import FormError

MOST_CHARACTERS = 2_000
LONGEST_WAIT_DAYS = 92


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


def was_reached(answer: object) -> bool:
    """Whether the family was reached.

    Raises
    ------
    FormError
        The question was not answered.
    """
    if answer not in ("yes", "no"):  # a set would ask for its hash
        raise FormError("Choose whether you reached the family.")
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
    """Day from which the family is back on the list.

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
            f"Enter the day the family comes back on the list as a date, such as {as_of.isoformat()}."
        ) from None
    if not as_of <= day <= last:
        raise FormError(f"Choose a day between {as_of.isoformat()} and {last.isoformat()}.")
    return day
