"""One refused row as a form: correct it, see what is still wrong, go on to the next."""

from __future__ import annotations

from dashboard.incoming.views import EntryDone, RowCorrected, RowForm
from dashboard.layout import frame as shell
from dashboard.layout import words
from dashboard.layout.templates import render
from dashboard.security import csrf
from dashboard.security.roles import ENTRY, PATHS, ROW, Page
from dashboard.session.views import PageContext

PATH = PATHS[Page.INCOMING]
LONG_TEXTS = frozenset({"note", "contact"})


def row_page(view: RowForm) -> str:
    """The row's cells as a form, the one that is wrong marked."""
    title = f"Correct row {view.row} of {view.file}"
    content = render(
        "incoming/row_page",
        title=title,
        view=view,
        wrong=next((field.head for field in view.fields if field.wrong), None),
        long_texts=LONG_TEXTS,
        address=f"{ROW}{view.number}",
        token=csrf.token(),
    )
    return shell.whole(PATH, view.context, title, content)


def row_done_page(view: RowCorrected) -> str:
    """The row is off the list; the link to the next one."""
    if not view.used:
        title, what = "Row taken off the list", "was taken off the list and is not used."
    elif view.known_before:
        title, what = (
            "Row corrected",
            "has the same content as a row stored before; it is off the list.",
        )
    else:
        title, what = "Row corrected", "was saved and is off the list."
    left = "No rows to correct."
    if view.left:
        left = f"{words.counted(view.left, 'row', 'rows')} left to correct."
    content = render("incoming/row_done_page", title=title, view=view, what=what, left=left)
    return shell.whole(PATH, view.context, title, content)


def entry_done_page(view: EntryDone) -> str:
    """A log entry is voided, with the button to undo that, or counts again."""
    title = "Entry voided" if view.voided else "Entry counts again"
    content = render(
        "incoming/entry_done_page",
        title=title,
        view=view,
        address=f"{ENTRY}{view.row}",
        token=csrf.token(),
    )
    return shell.whole(PATH, view.context, title, content)


def row_not_now_page(context: PageContext, what: str) -> str:
    """The row cannot be corrected, and why."""
    content = render("incoming/row_not_now_page", what=what)
    return shell.whole(PATH, context, "Row not corrected", content)
