"""All refused rows of one cause on a page: one correction, its effect before, and its undoing."""

from __future__ import annotations

from dashboard.incoming.files_page import PATH
from dashboard.incoming.views import CauseEffect, CausePage
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.roles import CAUSE


def cause_page(page: CausePage) -> str:
    """What is wrong with the rows, what to write, and what that does."""
    title = "Correct rows of one cause"
    content = render(
        "incoming/cause_page",
        title=title,
        page=page,
        answer=_answer(page),
        address=CAUSE,
        token=csrf.token(),
    )
    return shell.whole(PATH, page.context, title, content)


def _answer(page: CausePage) -> str:
    if page.done:
        return _effect(page.effect, "were") if page.effect else "The correction is undone."
    if page.cause is None:
        return "No row of this cause is on the list any more."
    quoted = "" if page.cause.value is None else f' "{page.cause.value}"'
    rows = words.counted(page.cause.n_rows, "row", "rows")
    what = f"{rows}, {page.cause.column}{quoted}: {page.cause.sentence}"
    if page.effect is None:
        return what
    return f"{what} Nothing is stored yet: {_effect(page.effect, 'would be')}"


def _effect(effect: CauseEffect | None, verb: str) -> str:
    if effect is None:
        return ""
    known = f", {words.thousands(effect.same_as_before)} known before" * bool(effect.same_as_before)
    left = words.thousands(effect.refused) if effect.refused else "none"
    return f"{words.thousands(effect.stored)} {verb} stored{known}, {left} still refused."
