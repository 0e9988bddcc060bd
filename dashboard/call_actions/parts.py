"""What do the forms to record a call, assign and postpone consist of?"""

from __future__ import annotations

from datetime import timedelta

from markupsafe import Markup

from dashboard.call_actions.queries import (
    LONGEST_POSTPONEMENT_DAYS,
    MOST_CHARACTERS,
    MOST_REASON_CHARACTERS,
)
from dashboard.call_actions.queries.actions import ARRANGEMENTS, CALLS
from dashboard.call_actions.views import Acts, News
from dashboard.layout import ids
from dashboard.layout.row_tokens import row_token
from dashboard.layout.templates import render

Way = tuple[str, str]
"""An address and the code of the family there."""


def message(
    acts: Acts, news: News | None, following: Way | None, prefix: str = "", *, in_page: bool = True
) -> Markup:
    """What was just done, with a button that undoes it and the way to the next family.

    `in_page`: the next family opens without leaving the page.
    """
    if news is None:
        return Markup("")
    newest = _newest(acts, prefix) if news.can_undo else None
    return render(
        "call_actions/message", news=news, newest=newest, following=following, in_page=in_page
    )


def recorded(acts: Acts, prefix: str = "") -> Markup:
    """Arrangements and calls of the family, each with a button that undoes it."""
    return render("call_actions/recorded", acts=acts, prefix=prefix)


def record(acts: Acts, prefix: str = "") -> Markup:
    """The form to record a call; on an earlier day a sentence instead."""
    limits = {"agreed": MOST_CHARACTERS}
    return render("call_actions/record", acts=acts, prefix=prefix, limits=limits)


def arrange(acts: Acts, prefix: str = "") -> Markup:
    """The forms to assign and postpone; nothing on an earlier day."""
    row, as_of = acts.row, acts.context.as_of
    return render(
        "call_actions/arrange",
        acts=acts,
        prefix=prefix,
        caller_chosen=row.assigned_to or next(iter(row.nurses), acts.context.reader.code),
        limits={
            "reason": MOST_REASON_CHARACTERS,
            "first_day": as_of + timedelta(days=1),
            "last_day": as_of + timedelta(days=LONGEST_POSTPONEMENT_DAYS),
        },
    )


def _newest(acts: Acts, prefix: str) -> tuple[str, str] | None:
    """What was recorded of the family last: the token of its row, and the store that undoes it."""
    made = [(c.made_at, row_token(c.row, CALLS), f"{prefix}{ids.UNDO_CALL}") for c in acts.calls]
    made += [
        (a.made_at, row_token(a.row, ARRANGEMENTS), f"{prefix}{ids.UNDO_ARRANGEMENT}")
        for a in acts.arranged
    ]
    return max(made)[1:] if made else None
