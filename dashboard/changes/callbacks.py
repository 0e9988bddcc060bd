"""What happens when a person marks the changes of a page as seen?"""

from __future__ import annotations

from collections.abc import Callable

from dash import Input, Output, State
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.changes.parts import changes_part
from dashboard.changes.views import Changes
from dashboard.layout import ids
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.session import Session


def register_changes(
    guard: Guard, page: Page, marked: Callable[[Session, str | None], Changes]
) -> None:
    """Register the button of a page that marks the changes as seen.

    Parameters
    ----------
    guard : Guard
        Of the application.
    page : Page
        As for `Guard.callback`.
    marked : callable
        Marks what a session's page shows under a query as seen, and gives what changed since.
    """

    @guard.callback(
        page,
        Output(f"{ids.CHANGES}{page}", "children", allow_duplicate=True),
        Input(f"{ids.SEEN}{page}", "data"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def mark(session: Session, asked: object, search: str | None) -> Component:
        if asked is None:
            raise PreventUpdate
        return changes_part(marked(session, search), page)
