"""What changes on the page of dwell time while it is open?"""

from __future__ import annotations

from dash import Input, Output, State
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard.dwell.layout import PATH, parts_of_choice
from dashboard.dwell.queries import DwellQueries
from dashboard.layout import ids
from dashboard.security.guard import Guard
from dashboard.security.roles import Page
from dashboard.session.session import Session


def register(guard: Guard) -> None:
    """Register the callback of the page."""

    @guard.callback(
        Page.DWELL,
        Output(ids.DWELL_HEAD, "children"),
        Output(ids.DWELL_BODY, "children"),
        Input(ids.URL, "search"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(session: Session, search: str | None, pathname: str) -> tuple[Component, Component]:
        queries = DwellQueries(session)
        if pathname != PATH:
            raise PreventUpdate
        return parts_of_choice(queries, search)
