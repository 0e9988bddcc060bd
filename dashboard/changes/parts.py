"""How are the changes since the last look shown on top of a page?"""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.changes.views import Changes
from dashboard.layout import ids
from dashboard.layout.templates import static
from dashboard.security.roles import Page

MOST_SHOWN = 40
"""Changes of one kind that are named; of more, their number is shown."""


def changes_place(changes: Changes, page: Page) -> Component:
    """The place for the changes, with what the button to mark them as seen sets."""
    return html.Div(
        [
            dcc.Store(id=f"{ids.SEEN}{page}"),
            html.Div(changes_part(changes, page), id=f"{ids.CHANGES}{page}"),
        ],
        className="changes",
    )


def changes_part(changes: Changes, page: Page) -> Component:
    """The changes as one line that opens; nothing on a first visit."""
    return static("changes/part", changes=changes, most_shown=MOST_SHOWN, sets=f"{ids.SEEN}{page}")
