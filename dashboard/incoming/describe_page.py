"""How does a source write its files? Proposed from one file, chosen and saved by a person."""

from __future__ import annotations

from dashboard.incoming.files_page import PATH
from dashboard.incoming.preview_page import answer, sheets_shown
from dashboard.incoming.views import Described, SourceSaved
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.roles import FILES, SOURCE

TITLE = "Describe a source"
NOT_OURS = "-"
"""The answer that a head or word is left as it is."""


def describe_page(found: Described) -> str:
    """Heads with what they are, questions, and the effect on the file's own rows."""
    content = render(
        "incoming/describe_page",
        title=TITLE,
        found=found,
        answer=_answer(found),
        sheets=sheets_shown(found.effect) if found.effect else [],
        not_ours=NOT_OURS,
        address=SOURCE,
        token=csrf.token(),
    )
    return shell.whole(PATH, found.context, TITLE, content)


def _answer(found: Described) -> str:
    if found.effect is not None:
        return answer(found.effect)
    if found.n_open:
        left = words.counted(found.n_open, "question is", "questions are")
        return f"Nothing is stored yet. {left} open: answer, then choose Show the effect."
    return "Nothing is stored yet."


def saved_page(view: SourceSaved) -> str:
    """The source is stored; its file can be imported now."""
    title = "Source saved"
    content = render(
        "incoming/source_saved_page",
        title=title,
        view=view,
        files_address=FILES,
        token=csrf.token(),
    )
    return shell.whole(PATH, view.context, title, content)
