"""Is a call that was typed in complete and usable?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from dashboard.layout.row_tokens import row_behind
from dashboard.layout.words import day_year
from dashboard.session.forms import Form, FormError

MOST_CHARACTERS = 2_000
LONGEST_WAIT_DAYS = 92


@dataclass(frozen=True)
class CallForm(Form):
    """A call as typed in. `form` tells one form from another.

    `recorded_as` is the person the form was made for, `newest_call` the row of the family's newest
    call when the form was made.
    """

    form: object
    family_id: object
    reached: object
    agreed: object
    recheck_on: object
    called_at: object = None
    recorded_as: object = None
    newest_call: object = None


def was_reached(answer: object) -> bool:
    """Whether the family was reached.

    Raises
    ------
    FormError
        The question was not answered.
    """
    if answer not in ("yes", "no"):  # a set would ask for its hash
        raise FormError("Choose whether you reached the family.", "reached")
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
        raise FormError(f"Shorten what was agreed to {MOST_CHARACTERS} characters.", "agreed")
    return agreed or None


def day_back(text: object, first: date, last: date, field: str = "recheck_on") -> date:
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
            "Enter the day the family comes back on the list as a date, such as "
            f"{day_year(first)}.",
            field,
        ) from None
    if not first <= day <= last:
        raise FormError(f"Choose a day from {day_year(first)} to {day_year(last)}.", field)
    return day


def moment_of_call(text: object, on: date, now: datetime, field: str = "called_at") -> datetime:
    """When the call was made: at a time of day on its day.

    Parameters
    ----------
    text : object
        The time as typed in, such as 09:10.
    on : date
        Day of the call.
    now : datetime
        The present moment, in the programme's zone.
    field : str
        The field that a fault is about.

    Raises
    ------
    FormError
        It is no time of day, or in the future.
    """
    try:
        at = time.fromisoformat(str(text))
    except ValueError:
        raise FormError(
            "Enter the time of the call as hours and minutes, such as 09:10.", field
        ) from None
    zone = now.tzinfo or ZoneInfo("UTC")
    moment = datetime.combine(on, at.replace(tzinfo=None), zone)
    if moment > now:
        raise FormError(f"Enter a time up to now, {now:%H:%M}.", field)
    return moment


def newest_known(given: object) -> int | None:
    """Row of the newest call that the form's person knew of; None: the form does not state it."""
    return row_behind(given, "calls")
