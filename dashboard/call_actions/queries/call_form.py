"""Is a call that was typed in complete and usable?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from dashboard.layout.words import day_year
from dashboard.session.forms import Form, FormError

MOST_CHARACTERS = 2_000
LONGEST_WAIT_DAYS = 92


@dataclass(frozen=True)
class CallForm(Form):
    """A call as typed in. `form` tells one form from another."""

    form: object
    family_id: object
    reached: object
    agreed: object
    recheck_on: object


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


def day_back(text: object, first: date, last: date) -> date:
    """Day from which the family is back on the list.

    Raises
    ------
    FormError
        It is no date, or not between the first and the last day to choose from.
    """
    try:
        day = date.fromisoformat(str(text))
    except ValueError:
        raise FormError(
            f"Enter the day the family comes back on the list as a date, such as {day_year(first)}."
        ) from None
    if not first <= day <= last:
        raise FormError(f"Choose a day from {day_year(first)} to {day_year(last)}.")
    return day
